"""A job's summary as a page that opens by itself, without a server."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path
from string import Template
from typing import Any
from urllib.parse import quote

PAGE = Path(__file__).with_name("summary.html")
GRADES = ("1", "2", "3")


def page(summary: Mapping[str, Any]) -> bytes:
    """The page for a summary (``crookline.summary/1``); its links lead to the files beside it."""
    counts = summary["counts"]
    parts = summary["parts"]
    told = f"{counts['done']} of {len(parts)} parts marked"
    if counts["failed"]:
        told += f", {counts['failed']} failed"
    options = "; ".join(f"{name} {_words(value)}" for name, value in summary["options"].items())
    skipped = "".join(
        f"<li>{escape(entry['name'])}: {escape(entry['reason'])}</li>" for entry in summary["skipped"]
    )
    return (
        Template(PAGE.read_text(encoding="utf-8"))
        .substitute(
            state=escape(summary["state"]),
            count=escape(told),
            title="Marked parts",
            counts=escape(told),
            created=escape(summary["created"].replace("T", " ").replace("+00:00", " UTC")),
            options=f", with {escape(options)}" if options else "",
            rows="\n".join(_row(part) for part in parts),
            skipped=f"<h2>Left out</h2><ul>{skipped}</ul>" if skipped else "",
        )
        .encode()
    )


def _row(part: Mapping[str, Any]) -> str:
    name = escape(part["name"])
    number = '<td class="number">{}</td>'.format
    if part["state"] == "failed":
        reason = part["reason"] or {}
        where = ", ".join(
            f"{word} {escape(str(reason[key]))}"
            for key, word in (("part", "part"), ("measure", "measure"))
            if reason.get(key)
        )
        message = escape(reason.get("message", "")) + (f" ({where})" if where else "")
        cells = f'<td>{name}</td><td class="failed">failed</td><td colspan="6">{message}</td>'
        return f"<tr>{number(part['n'])}{cells}</tr>"
    summary = part["summary"]
    crossings = summary.get("crossings", {})
    figures = [
        summary.get("notes", ""),
        *(crossings.get(grade, "") for grade in GRADES),
        summary.get("warnings", ""),
        f"{part['seconds']:.3f}",
    ]
    state = "done" + (' <span class="quiet">(known from before)</span>' if part["cached"] else "")
    link = f'<a href="{quote(part["name"])}">{name}</a>'
    return f"<tr>{number(part['n'])}<td>{link}</td><td>{state}</td>{''.join(map(number, figures))}</tr>"


def _words(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
