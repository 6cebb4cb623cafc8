"""The shapes of what is asked and answered; the OpenAPI document is made of them."""

from __future__ import annotations

from apiflask import Schema
from apiflask.fields import Boolean, DateTime, Dict, File, Float, Integer, List, Nested, String
from marshmallow import validate

from annotator.registry.option_rows import OPTION

PART_STATES = ("queued", "running", "done", "failed")
JOB_STATES = ("queued", "running", "done", "partly", "failed", "unreadable")


class Upload(Schema):
    """What a job is made of."""

    files = List(
        File(),
        required=True,
        validate=validate.Length(min=1),
        metadata={"description": "Scores (.musicxml, .xml, .mxl), or .zip archives of them; one or many."},
    )
    options = String(
        load_default="{}",
        metadata={
            "description": f"A JSON object with the command's options: {', '.join(OPTION)}.",
            "examples": ['{"instrument": "c-trumpet", "show": "awkward"}'],
        },
    )
    players = String(
        load_default="[]",
        metadata={
            "description": "Several players, one upload: a JSON list of objects, each with a `name`, the "
            "`part`s that are theirs (ids, names or numbers such as 1st) and options of their own. Each "
            "player gets a folder of the archive, and sheets with the name on.",
            "examples": ['[{"name": "Ada", "part": ["1st"]}, {"name": "Ben", "part": ["2nd"]}]'],
        },
    )
    callback_url = String(
        load_default="",
        validate=validate.Length(max=2000),
        metadata={
            "description": "An address that is sent the job's summary when the job has ended, signed "
            "(RFC 9421, hmac-sha256)."
        },
    )
    callback_secret = String(
        load_default="",
        validate=validate.Length(max=200),
        metadata={"description": "What the message to `callback_url` is signed with."},
    )


class Reason(Schema):
    """Why a part failed."""

    code = String(required=True, metadata={"description": "Stable, for programs."})
    message = String(required=True, metadata={"description": "For people: what is wrong and what to do."})
    part = String(allow_none=True, metadata={"description": "The id of the part inside the score."})
    measure = String(allow_none=True, metadata={"description": "The measure, as the file numbers it."})


class PartDocument(Schema):
    """One file of a job."""

    n = Integer(required=True, metadata={"description": "Counts from 1."})
    name = String(required=True, metadata={"description": "The path it came with."})
    player = String(metadata={"description": "Whose copy it is, where the job has several players."})
    state = String(required=True, validate=validate.OneOf(PART_STATES))
    cached = Boolean(
        metadata={"description": "The same file with the same options had been computed before."}
    )
    reason = Nested(Reason, allow_none=True)
    waited = Float(metadata={"description": "Seconds in the queue."})
    seconds = Float(metadata={"description": "Seconds of work."})
    worker = String()
    summary = Dict(metadata={"description": "The summary of the part's report."})
    links = Dict(keys=String(), values=String(), metadata={"description": "Where its results are."})


class CreateHeaders(Schema):
    """What can come with the files."""

    idempotency_key = String(
        load_default="",
        data_key="Idempotency-Key",
        validate=validate.Regexp(r"^[!-~]{0,200}$", error="use up to 200 printable ASCII characters"),
        metadata={
            "description": "Makes sending safe to repeat: the same key with the same files and options "
            "is the same job, with others it is refused with 409."
        },
    )


class Skipped(Schema):
    """What an archive held that is no score."""

    name = String(required=True)
    reason = String(required=True)


class Counts(Schema):
    """How many parts are in each state."""

    queued = Integer(required=True)
    running = Integer(required=True)
    done = Integer(required=True)
    failed = Integer(required=True)


class JobSummary(Schema):
    """A job in a list."""

    id = String(required=True)
    state = String(required=True, validate=validate.OneOf(JOB_STATES))
    created = DateTime(required=True)
    expires = DateTime(required=True, metadata={"description": "When the job and its files will be removed."})
    progress = Float(required=True, metadata={"description": "Which share of the parts has ended, 0 to 1."})
    counts = Nested(Counts, required=True)
    unreadable = String(
        allow_none=True,
        metadata={"description": "Why what is kept of the job cannot be read; null for every other job."},
    )
    links = Dict(keys=String(), values=String(), required=True)


class JobDocument(JobSummary):
    """A job with its parts."""

    finished = DateTime(allow_none=True, metadata={"description": "When the last part ended."})
    options = Dict(required=True)
    parts = List(Nested(PartDocument), required=True)
    skipped = List(Nested(Skipped), required=True)


class JobList(Schema):
    """Jobs, newest first."""

    jobs = List(Nested(JobSummary), required=True)


class ListQuery(Schema):
    """Which jobs to list."""

    limit = Integer(load_default=20, validate=validate.Range(min=1, max=100))
    before = String(
        load_default="",
        validate=validate.Regexp(r"^([0-9a-f]{31})?$"),
        metadata={"description": "Only jobs older than the one with this id."},
    )


class IntervalDocument(Schema):
    """An interval, as MusicXML's `transpose` has it."""

    diatonic = Integer(required=True, metadata={"description": "Steps."})
    chromatic = Integer(required=True, metadata={"description": "Semitones."})


class InstrumentDocument(Schema):
    """A trumpet."""

    id = String(required=True)
    name = String(required=True)
    sounding = Nested(IntervalDocument, required=True, metadata={"description": "Sounding minus written."})
    valves = Integer(required=True)
    lowest = String(required=True, metadata={"description": "The lowest written pitch."})
    highest = String(required=True, metadata={"description": "The highest written pitch."})
    links = Dict(keys=String(), values=String(), required=True)


class InstrumentList(Schema):
    """The trumpets."""

    instruments = List(Nested(InstrumentDocument), required=True)


class CrookDocument(Schema):
    """A crook."""

    id = String(required=True)
    name = String(required=True)
    sounding = Nested(IntervalDocument, required=True, metadata={"description": "Sounding minus written."})


class CrookList(Schema):
    """The crooks."""

    crooks = List(Nested(CrookDocument), required=True)


class EventsHeaders(Schema):
    """Where a stream of events goes on."""

    last_event_id = String(
        load_default="",
        data_key="Last-Event-ID",
        metadata={"description": "The id of the last event seen; a browser sends it by itself."},
    )
