"""The report as one HTML page that needs nothing else: drawings, plots and sounds inside, no request allowed."""

from collections.abc import Mapping
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
import msgspec
from markupsafe import Markup

from listen.report.content import PointPart, Report
from listen.report.drawing import engine_drawing, ladder
from listen.report.kept_parts import OWNER_SEES, clip_file
from listen.report.origin import Origin
from listen.report.sounds import Files, Pair, pairs
from listen.report.text import clean
from listen.voice import figures


def html(report: Report, folder: Path, pictures: Mapping[str, str], origin: Origin) -> str:
    """The page; clips are read from ``folder``, ``pictures`` are addresses of the photos by identifier.

    ``origin`` stands in its head, and says whether it carries sounds and whether anything is folded away.
    """
    every = {(r.id, p.point): p for r in report.rounds for p in r.points}
    deciding = every.get((report.owner.heard.round_id, report.owner.heard.point)) if report.owner.heard else None
    clips = {at: found for at, p in every.items() if (found := _files(folder, p))}
    heard: dict[Files, Pair] = {}
    remark = "Sounds were left out of this report on request."
    if origin.audio:
        first = [_files(folder, deciding)] if deciding else []  # what decided is heard at full length
        heard, remark = pairs(list(dict.fromkeys(found for found in (*first, *clips.values()) if found)))
    places = {(r.id, p.point): f"s{n}-{i}" for n, r in enumerate(report.rounds, 1) for i, p in enumerate(r.points, 1)}
    marked = sorted({n for f in report.owner.found for n in f.cylinders})
    between = bool(report.owner.found) and report.owner.found[0].cause == "gasket-next"
    leading = report.rounds[0] if report.rounds and report.rounds[0].cylinder in marked else None
    style = Markup(files("listen.report").joinpath("templates/style.css").read_text("utf-8"))  # noqa: S704 - our own file
    return (
        environment()
        .get_template("report.html.jinja")
        .render(
            r=report,
            plots={at: _plot(found, places[at]) for at, found in clips.items()},
            sounds={at: heard[found] for at, found in clips.items() if found in heard},
            ladder=ladder,
            drawing=engine_drawing(report.engine, marked, report.owner.drawing, between=between),
            deciding=deciding,
            leaking=leading.id if leading else "",
            pictures=pictures,
            shown=[p for p in reversed(report.photos) if p.cylinder in marked][:OWNER_SEES],
            unfolded=origin.unfolded,
            origin=msgspec.json.encode(origin).decode(),
            nothing=figures.UNKNOWN,
            people={"tech": "", "supervisor": "", "owner": "", **dict(report.people)},
            devices=sorted({f"{c.device or 'device not known'}, {c.rate_hz} Hz" for c in report.clips}),
            sounds_remark=remark,
            style=style,
            percent=figures.sure,
            signed=partial(figures.number, sign=True),
        )
    )


@cache
def environment() -> jinja2.Environment:
    """Templates that escape whatever they are given, and fail on a name they do not know."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("listen.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_safe,
        trim_blocks=True,
        keep_trailing_newline=True,
    )


def _safe(value: Any) -> Any:
    return clean(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _files(folder: Path, p: PointPart) -> Files | None:
    """Quiet and air file of a point, or its switched take, where they are there."""
    found = [clip_file(folder, clip) for clip in dict.fromkeys((p.quiet_clip, p.air_clip))]
    paths = tuple(path for path in found if path is not None and path.is_file())
    return Files(paths, p.on_s) if len(paths) == len(found) else None


def _plot(found: Files, name: str) -> Markup | None:
    """Spectra of a point; None where a clip cannot be read (the record says so)."""
    from listen.errors import HisswayError
    from listen.report.drawing import spectra_svg
    from listen.rounds.switching import pair

    try:
        quiet, air = pair(*found)
        return Markup(spectra_svg(quiet, air, name))  # noqa: S704 - drawn here from numbers, holds no one's text
    except (HisswayError, OSError):
        return None
