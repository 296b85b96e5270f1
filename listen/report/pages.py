"""The report as one HTML page that needs nothing else (drawings, plots and sounds inside, no request allowed), as
Markdown and as JSON; text from anyone made safe to print in any of them."""

import json
import math
import re
from collections.abc import Callable, Mapping
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
import msgspec
from markupsafe import Markup

from listen.errors import HisswayError
from listen.jobs.folder.parts import clip_file
from listen.report.content import Origin, Part
from listen.report.drawing import engine_drawing, ladder, spectra_svg
from listen.report.kept_parts import OWNER_SEES
from listen.report.sounds import Files, Pair, pairs
from listen.rounds.switching import pair
from listen.voice import figures


def markdown_text(report: Part) -> str:
    """The report in Markdown; every name and note is shown literally."""
    return _template("report.md.jinja", markdown, lstrip_blocks=True).render(r=report, figure=figures.decibels)


def json_text(report: Part) -> str:
    """The report as one JSON object (schema ``hissway.report/2``)."""
    return json.dumps(clean_tree(msgspec.to_builtins(report)), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


@cache
def _template(name: str, safe: Callable[[str], str], **how: Any) -> jinja2.Template:
    """A template that makes whatever text it is given safe, and fails on a name it does not know."""
    made = jinja2.Environment(  # noqa: S701 - HTML asks for it; Markdown is escaped by its own rule
        loader=jinja2.PackageLoader("listen.report", "templates"),
        # A name that is gone must fail: an empty place on a signed page looks like a finding.
        undefined=jinja2.StrictUndefined,
        finalize=lambda value: safe(value) if isinstance(value, str) and not isinstance(value, Markup) else value,
        trim_blocks=True,
        **how,
    )
    made.globals |= {"percent": figures.sure, "signed": partial(figures.number, sign=True)}
    return made.get_template(name)


_BAD = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"  # controls
    "\u200e\u200f\u202a-\u202e\u2066-\u2069"  # direction marks and overrides: they make a name read as another
    "\ud800-\udfff\ufdd0-\ufdef"  # halves of characters, and what is none:
    + "".join(chr(plane << 16 | last) for plane in range(17) for last in (0xFFFE, 0xFFFF))  # the last two of each plane
    + "]"
)
_MARKDOWN = re.compile(r"([\\`*_{}\[\]<>#|~!$])")
_LINE_START = re.compile(r"^([-+=]|\d+(?=[.)]))")


def clean(text: str) -> str:
    """The text with everything a page must not hold replaced by U+FFFD."""
    # Nothing of what is bad is printable, and most of a page is one sound in base64: that is seen at once.
    return text if text.isprintable() else _BAD.sub("\N{REPLACEMENT CHARACTER}", text)


def clean_tree(value: Any) -> Any:
    """Plain values (from JSON) with every text cleaned and every figure finite."""
    match value:
        case str():
            return clean(value)
        case float():
            return value if math.isfinite(value) else None
        case dict():
            return {clean_tree(k): clean_tree(v) for k, v in value.items()}
        case list() | tuple():
            return [clean_tree(v) for v in value]
    return value


def markdown(text: str) -> str:
    """The text as Markdown that shows it literally, on one line."""
    line = " ".join(clean(text).split())
    escaped = _MARKDOWN.sub(r"\\\1", line).replace("&", "&amp;")
    return _LINE_START.sub(lambda m: f"\\{m[1]}" if not m[1].isdigit() else f"{m[1]}\\", escaped)


def html(report: Part, folder: Path, pictures: Mapping[str, str], origin: Origin) -> str:
    """The page; clips are read from ``folder``, ``pictures`` are addresses of the photos by identifier.

    ``origin`` stands in its head, and says whether it carries sounds and whether anything is folded away.
    """
    rounds, owner = report["rounds"], report["owner"]
    every = {(r["id"], p["point"]): p for r in rounds for p in r["points"]}
    deciding = every.get((heard_at["round_id"], heard_at["point"])) if (heard_at := owner["heard"]) else None
    clips = {at: found for at, p in every.items() if (found := _files(folder, p))}
    heard: dict[Files, Pair] = {}
    remark = "Sounds are left out of this report; the job holds them."
    if origin.audio:
        first = [_files(folder, deciding)] if deciding else []  # what decided is heard at full length
        heard, remark = pairs(list(dict.fromkeys(found for found in (*first, *clips.values()) if found)))
    places = {(r["id"], p["point"]): f"s{n}-{i}" for n, r in enumerate(rounds, 1) for i, p in enumerate(r["points"], 1)}
    marked = sorted({n for f in owner["found"] for n in f.cylinders})
    between = owner["found"][0].cause == "gasket-next"
    leading = next((r["id"] for r in rounds[:1] if r["cylinder"] in marked), "")
    style = Markup(files("listen.report").joinpath("templates/style.css").read_text("utf-8"))  # noqa: S704 - our own file
    page = _template("report.html.jinja", clean, autoescape=True, keep_trailing_newline=True)
    return page.render(
        r=report,
        plots={at: _plot(found, places[at]) for at, found in clips.items()},
        sounds={at: heard[found] for at, found in clips.items() if found in heard},
        ladder=ladder,
        drawing=engine_drawing(report["engine"], marked, owner["drawing"], between=between),
        deciding=deciding,
        leaking=leading,
        pictures=pictures,
        shown=[p for p in reversed(report["photos"]) if p["cylinder"] in marked][:OWNER_SEES],
        unfolded=origin.unfolded,
        origin=msgspec.json.encode(origin).decode(),
        nothing=figures.UNKNOWN,
        people={"tech": "", "supervisor": "", "owner": "", **dict(report["people"])},
        devices=sorted({f"{c['device'] or 'device not known'}, {c['rate_hz']} Hz" for c in report["clips"]}),
        sounds_remark=remark,
        style=style,
    )


def _files(folder: Path, p: Part) -> Files | None:
    """Quiet and air file of a point, or its switched take, where they are there."""
    found = [clip_file(folder, clip) for clip in dict.fromkeys((p["quiet_clip"], p["air_clip"]))]
    paths = tuple(path for path in found if path is not None and path.is_file())
    return Files(paths, p["on_s"]) if len(paths) == len(found) else None


def _plot(found: Files, name: str) -> Markup | None:
    """Spectra of a point; None where a clip cannot be read (the record says so)."""
    try:
        quiet, air = pair(*found)
        return Markup(spectra_svg(quiet, air, name))  # noqa: S704 - drawn here from numbers, holds no one's text
    except (HisswayError, OSError):
        return None
