# One image for the web server, the workers and the scheduler; docker-compose.yml says which is which.
FROM python:3.12-slim AS build
WORKDIR /build
COPY requirements-build.txt requirements.txt ./
RUN python -m venv /opt/crookline \
    && /opt/crookline/bin/pip install --no-cache-dir --require-hashes -r requirements-build.txt \
    && /opt/crookline/bin/pip install --no-cache-dir --require-hashes -r requirements.txt
COPY pyproject.toml README.md LICENSE ./
COPY annotator annotator
COPY workers workers
COPY api api
RUN /opt/crookline/bin/pip install --no-cache-dir --no-deps --no-build-isolation .

FROM python:3.12-slim
COPY --from=build /opt/crookline /opt/crookline
# A volume mounted at /store takes this folder's owner.
RUN useradd --uid 10001 --no-create-home --shell /usr/sbin/nologin crookline \
    && install --directory --owner crookline /store
ENV PATH=/opt/crookline/bin:$PATH \
    PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1 \
    HOME=/tmp \
    CROOKLINE_STORE=/store \
    CROOKLINE_LOG=json
USER crookline
WORKDIR /tmp
EXPOSE 8080
CMD ["crookline", "serve", "--no-workers"]
