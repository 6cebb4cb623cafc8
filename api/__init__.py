"""The web service: a Flask application over the store and the queue.

>>> from api import create_app
>>> app = create_app(settings)
"""

from __future__ import annotations

from api.app import create_app

__all__ = ["create_app"]
