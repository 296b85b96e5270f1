"""The report as one HTML page that needs nothing else: drawings, plots and sounds inside, no request allowed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
import msgspec
from markupsafe import Markup

from listen.report.content import PhotoPart, PointPart, Report, RoundPart
from listen.report.drawing import EngineDrawing, Ladder, engine_drawing, ladder
from listen.report.kept_parts import OWNER_SEES, clip_file
from listen.report.origin import Origin
from listen.report.sounds import Pair, pairs
from listen.report.text import clean
from listen.voice import figures


@dataclass(frozen=True, slots=True)
class PointView:
    """One point with what is drawn and heard of it."""

    part: PointPart
    plot: Markup | None
    sound: Pair | None


@dataclass(frozen=True, slots=True)
class RoundView:
    """One round with its drawings."""

    part: RoundPart
    ladder: Ladder
    points: tuple[PointView, ...]


@dataclass(frozen=True, slots=True)
class OwnerView:
    """The owner's page with its drawing and its sound."""

    drawing: EngineDrawing
    sound: Pair | None
    not_as_recorded: str


def html(report: Report, folder: Path, pictures: Mapping[str, str], origin: Origin) -> str:
    """The page; clips are read from ``folder``, ``pictures`` are addresses of the photos by identifier.

    ``origin`` stands in its head, and says whether it carries sounds and whether anything is folded away.
    """
    heard, remark = _sounds(report, folder) if origin.audio else ({}, "Sounds were left out of this report on request.")
    rounds = [_round_view(part, n, folder, heard) for n, part in enumerate(report.rounds, 1)]
    style = Markup(files("listen.report").joinpath("templates/style.css").read_text("utf-8"))  # noqa: S704 - our own file
    page = environment().get_template("report.html.jinja")
    return page.render(
        r=report,
        rounds=rounds,
        owner=_owner_view(report, folder, heard),
        leaking=_leaking(report),
        pictures=pictures,
        shown=_owner_photos(report),
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


def _owner_photos(report: Report) -> tuple[PhotoPart, ...]:
    """Those of the cylinder the owner's page speaks of, the newest first."""
    speaks_of = {n for f in report.owner.found for n in f.cylinders}
    return tuple(p for p in reversed(report.photos) if p.cylinder in speaks_of)[:OWNER_SEES]


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


def _files(folder: Path, p: PointPart) -> tuple[Path, Path] | None:
    """Quiet and air file of a point, where both are there."""
    quiet, air = clip_file(folder, p.quiet_clip), clip_file(folder, p.air_clip)
    if quiet is None or air is None or not quiet.is_file() or not air.is_file():
        return None
    return quiet, air


def _owner_view(report: Report, folder: Path, heard: dict[tuple[Path, Path], Pair]) -> OwnerView:
    """The place drawn, the deciding pair found among the sounds."""
    found = report.owner.found
    marked = sorted({n for f in found for n in f.cylinders})
    drawing = engine_drawing(
        report.engine, marked, report.owner.drawing, between=bool(found) and found[0].cause == "gasket-next"
    )
    point = _deciding(report)
    files = _files(folder, point) if point else None
    return OwnerView(drawing, heard.get(files) if files else None, point.not_as_recorded if point else "")


def _deciding(report: Report) -> PointPart | None:
    wanted = report.owner.heard
    at = (p for r in report.rounds for p in r.points if wanted and (r.id, p.point) == (wanted.round_id, wanted.point))
    return next(at, None)


def _leaking(report: Report) -> str:
    """The round that lies open: the first, where a fault is on its cylinder."""
    at = {n for f in report.owner.found for n in f.cylinders}
    first = report.rounds[0] if report.rounds else None
    return first.id if first and first.cylinder in at else ""


def _sounds(report: Report, folder: Path) -> tuple[dict[tuple[Path, Path], Pair], str]:
    deciding = _deciding(report)
    points = [*([deciding] if deciding else []), *(p for r in report.rounds for p in r.points)]
    wanted = [found for p in points if (found := _files(folder, p))]
    return pairs(list(dict.fromkeys(wanted)))


def _round_view(part: RoundPart, n: int, folder: Path, heard: dict[tuple[Path, Path], Pair]) -> RoundView:
    views = []
    for i, p in enumerate(part.points, 1):
        found = _files(folder, p)
        plot = _plot(found, f"s{n}-{i}") if found else None
        views.append(PointView(p, plot, heard.get(found) if found else None))
    return RoundView(part, ladder(part.points), tuple(views))


def _plot(found: tuple[Path, Path], name: str) -> Markup | None:
    """Spectra of a point; None where a clip cannot be read (the record says so)."""
    from listen.audio.files import read_clip
    from listen.errors import HisswayError
    from listen.report.spectra_plot import spectra_svg

    try:
        quiet, air = (read_clip(path) for path in found)
        return Markup(spectra_svg(quiet, air, name))  # noqa: S704 - drawn here from numbers, holds no one's text
    except (HisswayError, OSError):
        return None
