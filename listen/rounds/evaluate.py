"""A round judged: read its clips, measure its points, weigh the evidence, say what may be said."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec

from listen.audio.files import read_clip
from listen.audio.long import fits, read_sound
from listen.errors import RoundError
from listen.judge.assumptions import BASE
from listen.judge.engine import engine_say
from listen.judge.grounds import bubbles_speak, withheld
from listen.judge.learnt import learnt, with_learnt
from listen.judge.next_best import next_best
from listen.judge.posterior import Posterior, posterior
from listen.judge.result import EngineSay, PathResult, RoundResult, ShopSeen, Verdict
from listen.judge.taught import By, trees
from listen.judge.verdict import verdict
from listen.rounds.describe import point_result, unseen_sentence
from listen.rounds.model import SWITCHED_KINDS, Facts, Round, Take
from listen.rounds.own_hole import own_hole, told_of_own_hole, without_own_hole
from listen.rounds.slips.air_proof import air_doubted
from listen.rounds.slips.blunders import blunders, without
from listen.rounds.slips.job_places import exchanged_points, places_heard
from listen.rounds.slips.slip import Blunder
from listen.rounds.switching import Switching, switchings
from listen.rounds.unusable import channel_with_sound, nothing_usable, said_of_nothing
from listen.rounds.weigh import grounds, weigh
from listen.signal.point import PointTakes, measure_point
from listen.trade.points import Kind, PathId, walking_order

NOTHING_TO_ADD = "Nothing still open would tell more; repeat the round in a quieter moment{}."


def evaluate(round_: Round, *, channel: int = 0) -> RoundResult:
    """Judge one round from its files.

    Raises RoundError: no point with both a quiet and an air clip, mixed rates at a point. ClipError: a file that
    cannot be read or measured."""
    if (own := own_hole(round_)) is not None:
        found = evaluate(without_own_hole(round_, own), channel=channel)
        return msgspec.structs.replace(found, points=told_of_own_hole(round_, own, found.points))
    result = judge_points(round_.name, measure(round_, channel=channel), round_.facts, round_.engine, round_.shop)
    # Only where nothing could be used: a round that was judged needs no other channel.
    if result.paths or (better := channel_with_sound(round_, channel)) is None:
        return result
    then = f"Channel {better} of these files has sound: judge them with --channel {better}, or choose that input."
    return msgspec.structs.replace(result, verdict=msgspec.structs.replace(result.verdict, next=then))


def measure(round_: Round, *, channel: int = 0) -> list[PointTakes]:
    """Measure all points of a round in walking order; each point's samples are freed before the next is read."""
    _check(round_)
    points = sorted({t.point for t in round_.takes}, key=walking_order)
    known = switchings([t for t in round_.takes if t.kind in SWITCHED_KINDS], channel)
    return [_measured(p, [t for t in round_.takes if t.point == p], known, channel) for p in points]


def _measured(point_id: str, takes: Sequence[Take], known: Mapping[Take, Switching], channel: int) -> PointTakes:
    held = fits([t.path for t in takes])
    files = [(t, t.path, t.heard_in(channel)) for t in takes]
    # Clips that would not fit together in memory stay in their files.
    walked = [(t.kind, read_sound(p, channel=c, held=held)) for t, p, c in files if t.kind not in SWITCHED_KINDS]
    switched = [known[t].of(t, read_clip(p, channel=c)) for t, p, c in files if t.kind in SWITCHED_KINDS]
    return measure_point(point_id, walked, switched)


def _check(round_: Round) -> None:
    kinds: dict[str, set[Kind]] = {}
    for t in round_.takes:
        # A switched take is its own quiet and air.
        kinds.setdefault(t.point, set()).update((Kind.QUIET, Kind.AIR) if t.kind is Kind.SWITCHED else (t.kind,))
    if not any(Kind.AIR in have for have in kinds.values()):
        raise RoundError(f"{round_.name}: no air clip at any point; record at least one point with the air on")
    alone = [p for p, have in kinds.items() if Kind.AIR in have and not have & {Kind.QUIET, Kind.SHUT}]
    if not any(Kind.AIR in have and p not in alone for p, have in kinds.items()):
        p = alone[0]  # where others have a pair, this one is only flagged
        raise RoundError(f"{round_.name}: {p} has an air clip but no quiet one; record {p} with the air off")


def judge_points(
    name: str,
    points: Sequence[PointTakes],
    facts: Facts,
    engine: Sequence[EngineSay] | None = None,
    shop: ShopSeen | None = None,
    taught: By | None = "all",
) -> RoundResult:
    """Judge measured points beside the round's facts; where no clip can be used there are no odds, but the reason.

    ``engine`` is what the other cylinders' rounds of the job say, ``None`` for a round of no job,
    ``taught`` by whose rounds of known cause the odds are moved, ``None`` by nobody's.
    """
    # Slips first: a clip under another's label would be weighed at the wrong point.
    found = blunders(points)
    slips = tuple(b for b in found if not b.left_out)
    weighed = weigh(without(points, found), facts, engine or (), shop, trees(taught) if taught else None)
    if nothing_usable(points) and not facts.bubbles_seen:
        results = tuple(point_result(m, weighed.drift, facts.calibration_db) for m in weighed.points)
        tells = None if engine is None else EngineSay(cylinder=facts.cylinder or 1, zero_dbfs=0.0, points=())
        return _plain(RoundResult(round=name, points=results, paths=(), verdict=said_of_nothing(points), engine=tells))
    evidence = weighed.evidence
    # What the engine's other cylinders are told by this one must not hold what they told it.
    by_itself = evidence.alone()
    moved = None if evidence.shop is None else posterior(replace(by_itself, shop=None), (BASE,)).moved
    alone = posterior(by_itself, moved=moved)
    odds = alone if all(p.learnt is None for p in evidence.points) else posterior(evidence, moved=alone.moved)
    odds = with_learnt(evidence, odds, alone)
    # A path whose own mouth was not recorded may lead the odds by default; it is asked for, not named.
    may_name = frozenset(p for p in PathId if evidence.hears(p))
    # Somebody looked: that speaks for the coolant directly, listened there or not.
    if facts.bubbles_seen:
        may_name |= {PathId.COOLANT_PASSAGE}
    bubbles = bubbles_speak(odds.evidence_db)
    known, single = facts.points, facts.cylinders == 1
    kept_back = withheld(
        grounds(weighed, facts.air_followed),
        air_on=bool(facts.loss_percent) or bool(facts.air_followed),
        bubbles=bubbles,
        loss_db=odds.evidence_db[PathId.NONE].get("loss", 0.0),
        known=known,
        single=single,
    )
    nothing = NOTHING_TO_ADD.format("" if single else ", or compare the other cylinders")
    judged = verdict(odds, may_name, unseen_sentence(weighed.points), nothing, kept_back, single=single)
    if judged.next == nothing and (best := next_best(evidence, odds, known, single=single)) is not None:
        judged = msgspec.structs.replace(
            judged, next=best.text, next_point=best.point, next_kind=best.kind, next_seconds=best.seconds
        )
    measured = weighed.points
    tells = None
    if engine is not None:
        # What the others told may speak against this round, never silence it towards them.
        silent = bool(slips) or air_doubted(measured, facts, alone.no_air_db, bubbles=bubbles) is not None
        places = () if slips else places_heard(points)
        tells = msgspec.structs.replace(engine_say(facts.cylinder or 1, evidence, alone, silent=silent), places=places)
    doubted = exchanged_points(points, engine or ()) or air_doubted(measured, facts, odds.no_air_db, bubbles=bubbles)
    if doubted is not None and not slips:
        measured = tuple(
            replace(m, takes=replace(m.takes, flags=(*m.takes.flags, doubted.flag)))
            if m.takes.point in doubted.points
            else m
            for m in measured
        )
        slips = (doubted,)
    results = tuple(point_result(m, weighed.drift, facts.calibration_db) for m in measured)
    result = RoundResult(
        round=name,
        points=results,
        paths=_paths(odds),
        verdict=_held_back(judged, slips),
        engine=tells,
        told_by=tuple(one.cylinder for one in engine or ()),
        learnt=learnt(evidence, odds, engine or ()),
        shop=shop,
    )
    return _plain(result)


def _plain(result: RoundResult) -> RoundResult:
    """The same with plain numbers: figures come out of numpy, whose own neither JSON nor the journal takes.

    Raises RoundError: a number that no result can hold, which is a fault of ours and ends no other round."""
    try:
        return msgspec.convert(msgspec.to_builtins(result, enc_hook=lambda number: number.item()), RoundResult)
    except msgspec.ValidationError as error:
        raise RoundError(
            f"{result.round}: a number came out that cannot be stated ({error}); keep the clips and tell its makers"
        ) from error


def _held_back(verdict: Verdict, slips: Sequence[Blunder]) -> Verdict:
    """Nothing is named on a round with a slip in it; what it was, and what to record again, is said instead."""
    if not slips:
        return verdict
    # Every slip's sentence ends, after its last semicolon, with what to do.
    why, _, then = slips[0].flag.text.rpartition("; ")
    then = f"{then[:1].upper()}{then[1:]}"
    text = f"Cannot tell. {why}."
    return msgspec.structs.replace(
        verdict, kind="unclear", text=text, next=then, next_point="", next_kind="", rests_on=(), again=slips[0].again
    )


def _paths(odds: Posterior) -> tuple[PathResult, ...]:
    rows = [
        PathResult(
            path=p,
            probability_range=odds.ranges(p)[0],
            involved_range=odds.ranges(p)[1],
            probability=odds.share(p),
            involved=odds.involved(p),
            evidence_db=dict(odds.evidence_db[p]),
        )
        for p in odds.paths
    ]
    return tuple(sorted(rows, key=lambda r: -r.probability))
