"""What the evidence screen says beside its pictures: a point's numbers, what followed the switching, its flags."""

from textual.content import Content

from listen.jobs.decay import leak_sentence
from listen.jobs.job import Job, RoundRecord
from listen.judge.result import PointResult
from listen.rounds.switched_level import SwitchedLevel
from listen.signal.exhibit import Exhibit
from listen.trade.points import point
from listen.voice.figures import UNKNOWN, decibels, number, share
from tui.content import shown


def followed(level: SwitchedLevel, job: Job, record: RoundRecord) -> list[Content]:
    """What a switched take shows, in words."""
    edges = "edges heard" if level.found else "edges as commanded"
    head = Content.assemble(
        ("▄ air off ", "$secondary"),
        ("▄ air on ", "$primary"),
        ("┃ ", "$accent"),
        (f"{decibels(level.difference_db)} louder on the whole", "bold"),
        f"   {level.cycles} cycles, {edges}",
    )
    if level.decay_s is None:
        return [head]
    dies = f"dies in {number(level.decay_s)} s after shut-off: {leak_sentence(job, record, level.decay_s)}"
    return [head, shown(dies, "$secondary")]


def compared(seen: Exhibit | None) -> Content:
    """Which line is which, how much of each clip its gate kept, and the tones that come with the air."""
    curves = (seen.quiet, seen.air) if seen else (None, None)
    quiet, air = (f"kept {share(c.kept) if c else UNKNOWN}   " for c in curves)
    tones = ", ".join(f"{hz / 1000:.1f} kHz" for hz in seen.tones_hz[:4]) or "none" if seen else UNKNOWN
    told = f"{air}dB per Hz   tones with the air: {tones}"
    return Content.assemble(("┄ quiet ", "$secondary"), quiet, ("━ air ", "$primary"), told)


def numbers(result: PointResult | None) -> Content:
    if result is None:
        return shown("Not judged yet: no numbers for this point.", "$secondary")
    low, high = result.excess_ci95_db or (None, None)
    found = "hiss found" if result.detected else "nothing found"
    level = f"{'at most ' if result.level_is_upper_bound else ''}{number(result.level_db)} {result.level_unit}"
    limit = "" if result.detected else f"limit {decibels(result.would_see_db, sign=False)}, "
    rates = result.bubbles_per_s
    bubbles = f", bubbles {rates.quiet:.1f}/s quiet, {rates.air:.1f}/s air" if point(result.point).holds_coolant else ""
    return Content.assemble(
        (f"{decibels(result.excess_db)} over quiet ({number(low)} to {number(high)}), {found}", "bold"),
        f"   {limit}drift {decibels(result.drift_db, sign=False)}, hiss level {level}{bubbles}",
    )


def flags(result: PointResult | None) -> Content:
    if result is None:
        return shown("Flags are told once the round is judged.", "$secondary")
    if not result.flags:
        return shown("✓ no flags: nothing speaks against these clips", "$success")
    lines = [shown(f"{'×' if f.reject else '!'} {f.text}", "$error" if f.reject else "$warning") for f in result.flags]
    return Content("\n").join(lines)
