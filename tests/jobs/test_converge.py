"""Protects three machines that go on apart: whatever was written and however they meet, all tell the same job."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from listen.jobs import events as ev
from listen.jobs.event_words import conflicts
from listen.jobs.exchange.unpack import merged_event, plan
from listen.jobs.fold import fold
from listen.jobs.folder.chain import Chain, read_chain
from listen.jobs.folder.journal import write_line
from listen.jobs.standing import standing, waiting
from tests.jobs.made import opened, result

WHO = ("Ann", "Ida", "Bo")
ROUND = "c1-aa"


def said(what: int, who: str, n: int) -> ev.Payload:
    """One of the things that may be said of the round, or of its cylinder."""
    where = {"round_id": ROUND, "name": who}
    return (
        ev.Confirmed(blind=False, **where),
        ev.Overruled(paths=(("rings", "exhaust-valve")[n % 2],), reason="heard it", **where),
        ev.SentBack(point="intake", clip_kind="air", reason="again", **where),
        ev.Signed(role="supervisor", statement="so", head="0" * 64, public_key="ab" * (n % 2), **where),
        ev.Judged(round_id=ROUND, result=result(path=("intake-valve", "rings")[n % 2]), clips=()),
        ev.ReadingEntered(reading="loss", value=n % 60, unit="percent", si=n % 60, cylinder=1),
        ev.FindingRecorded(cylinder=1, paths=("rings",)),
    )[what]


def add(chain: Chain, payload: ev.Payload, actor: str, n: int) -> Chain:
    time = (datetime(2026, 1, 5, tzinfo=UTC) + timedelta(seconds=n)).isoformat().replace("+00:00", ".000Z")
    line = write_line(payload, prev=chain.head, actor=actor, time=time, id=f"{n:016x}")
    return read_chain(b"".join(one.raw + b"\n" for one in (*chain.lines, line)))


def post(ours: Chain, theirs: Chain, n: int) -> Chain:
    """What a machine holds after another's bag came in."""
    found = plan(ours, theirs)
    if found.how == "merged":
        return add(ours, merged_event(found, ours, "post"), "hissway", n)
    assert found.how in ("nothing-new", "forwarded", "adopted")
    return ours if found.how == "nothing-new" else theirs


def told(chain: Chain) -> tuple[object, ...]:
    """What the machine says of the job."""
    assert not chain.broken, chain.broken
    job = fold(chain.events())
    record = job.round(ROUND)
    made, differ = tuple((d.event.id, d.authority, d.settles) for d in record.decisions), conflicts(chain.events())
    return standing(record), made, record.signatures, job.readings, job.findings, waiting(job), differ


ACTS = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 6)) | st.tuples(st.integers(0, 2), st.integers(0, 2), st.none()),
    max_size=14,
)


@settings(max_examples=60, deadline=None)
@given(ACTS, st.permutations([(0, 1), (1, 2), (2, 0), (1, 0), (2, 1), (0, 2)]), st.randoms(use_true_random=False))
def test_three_machines_tell_the_same_whatever_the_order_of_exchange(acts, order, rng) -> None:
    first = add(Chain(()), opened(), "Ann", 0)
    first = add(first, ev.RoundOpened(round_id=ROUND, cylinder=1), "Ann", 1)
    machines = [add(first, ev.Judged(round_id=ROUND, result=result(), clips=()), "Ann", 2)] * 3
    everything: set[str] = set()
    for n, act in enumerate(acts, 3):
        clock = rng.randrange(3, 3000) * 20 + n % 20  # three clocks, none of them right
        if len(act) == 3:
            machines[act[1]] = post(machines[act[1]], machines[act[0]], clock)
        else:
            machines[act[0]] = add(machines[act[0]], said(act[1], WHO[act[0]], clock), WHO[act[0]], clock)
            everything.add(f"{clock:016x}")
    for n, (a, b) in enumerate((*order, *order, *order)):
        machines[b] = post(machines[b], machines[a], 60_000 + n)
    assert told(machines[0]) == told(machines[1]) == told(machines[2])
    assert everything <= {e.id for e in machines[0].events()}
