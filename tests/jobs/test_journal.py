"""Protects the journal: appended events come back, a torn end costs one event, no change goes unnoticed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.fold import fold
from listen.jobs.folder.chain import read_chain
from listen.jobs.folder.journal import GENESIS, write_line
from tests.jobs.made import PAYLOADS, opened, result
from tests.jobs.short import note_texts


def journal(payloads: list[ev.Payload]) -> list[bytes]:
    """Lines with their line ends, the opening first."""
    lines: list[bytes] = []
    prev = GENESIS
    for payload in [opened(), *payloads]:
        line = write_line(payload, prev=prev, actor="Ann")
        prev = line.hash
        lines.append(line.raw + b"\n")
    return lines


FEW = st.lists(PAYLOADS, min_size=1, max_size=12)


@given(FEW)
@settings(max_examples=60, deadline=None)
def test_written_events_come_back_and_fold_the_same(payloads: list[ev.Payload]) -> None:
    """Append then read equals; folding twice, or in two pieces, gives the same job."""
    chain = read_chain(b"".join(journal(payloads)))
    assert not chain.broken
    assert not chain.torn
    events = list(chain.events())
    assert [e.payload for e in events][1:] == payloads
    whole = fold(events)
    assert whole == fold(events)
    assert whole == fold(events[3:], fold(events[:3]))
    assert whole.events == len(payloads) + 1


def test_a_torn_end_costs_only_the_last_event_at_every_byte() -> None:
    """Cut anywhere in the last line: all events before are there and what is left of it is told apart."""
    lines = journal(
        [ev.NoteAdded(text="one"), ev.NoteAdded(text="zwei é ☂"), ev.Judged(round_id="r", result=result(), clips=())]
    )
    data, last = b"".join(lines), len(lines[-1])
    for cut in range(1, last + 1):
        chain = read_chain(data[: len(data) - cut])
        assert not chain.broken, cut
        if cut == 1:  # only the line end is missing: nothing is lost at all
            assert len(chain.lines) == len(lines)
            assert chain.open_ended
        else:
            assert len(chain.lines) == len(lines) - 1
            assert chain.torn == lines[-1][: last - cut]


def test_a_zero_filled_end_is_torn_not_broken() -> None:
    """A power cut may leave the file long and its last block empty."""
    lines = journal([ev.NoteAdded(text="one")])
    chain = read_chain(b"".join(lines) + bytes(4096))
    assert len(chain.lines) == 2
    assert chain.torn == bytes(4096)


@given(FEW, st.data())
@settings(max_examples=120, deadline=None)
def test_any_flipped_bit_is_noticed_from_its_own_line(payloads: list[ev.Payload], data: st.DataObject) -> None:
    """No bit of a journal can change unseen, and the first event told as bad is the one that was changed."""
    lines = journal(payloads)
    which = data.draw(st.integers(0, len(lines) - 1))
    at = data.draw(st.integers(0, len(lines[which]) - 1))
    bit = data.draw(st.integers(0, 7))
    changed = bytearray(lines[which])
    changed[at] ^= 1 << bit
    chain = read_chain(b"".join([*lines[:which], bytes(changed), *lines[which + 1 :]]))
    assert len(chain.lines) == which, "the lines before the change hold, the changed one does not"
    last_line_end = which == len(lines) - 1 and at == len(lines[which]) - 1
    assert chain.broken or (last_line_end and chain.torn)


@given(st.lists(PAYLOADS, min_size=3, max_size=12), st.data())
@settings(max_examples=60, deadline=None)
def test_dropped_moved_repeated_lines_are_noticed_where_they_stand(
    payloads: list[ev.Payload], data: st.DataObject
) -> None:
    """Reorder, drop, duplicate: the first event that does not follow is named."""
    lines = journal(payloads)
    i = data.draw(st.integers(0, len(lines) - 2))
    j = data.draw(st.integers(i + 1, len(lines) - 1))
    how = data.draw(st.sampled_from(["drop", "swap", "repeat"]))
    if how == "drop":
        changed, first_bad = lines[:i] + lines[i + 1 :], i
    elif how == "swap":
        changed, first_bad = [*lines[:i], lines[j], *lines[i + 1 : j], lines[i], *lines[j + 1 :]], i
    else:
        changed, first_bad = lines[: i + 1] + lines[i:], i + 1
    chain = read_chain(b"".join(changed))
    assert chain.broken
    assert len(chain.lines) == first_bad


def test_an_unknown_kind_is_kept_and_told() -> None:
    """A later version's event must not destroy the job."""
    lines = journal([ev.NoteAdded(text="before")])
    real = ev.KIND_OF[ev.NoteAdded]
    ev.KIND_OF[ev.NoteAdded] = "moon-phase-noted"
    try:
        with pytest.raises(JobError):  # this version cannot write what it cannot read
            write_line(ev.NoteAdded(text="x"), prev=read_chain(b"".join(lines)).head, actor="")
    finally:
        ev.KIND_OF[ev.NoteAdded] = real
    foreign = _foreign_line("moon-phase-noted", {"phase": [1, {"a": None}]}, read_chain(b"".join(lines)).head)
    chain = read_chain(b"".join(lines) + foreign)
    assert not chain.broken
    payload = chain.lines[-1].event.payload
    assert isinstance(payload, ev.Opaque)
    assert payload.content == {"phase": [1, {"a": None}]}
    job = fold(chain.events())
    assert any("moon-phase-noted" in t for t in job.troubles)
    assert note_texts(job) == ("before",)


def test_a_known_kind_with_a_strange_payload_is_opaque() -> None:
    """A field that has another type in a later version is kept and told, the chain holds."""
    lines = journal([])
    foreign = _foreign_line("note-added", {"text": 7}, read_chain(b"".join(lines)).head)
    chain = read_chain(b"".join(lines) + foreign)
    assert isinstance(chain.lines[-1].event.payload, ev.Opaque)
    engine = {"name": "", "layout": "rows", "rows": [[1, 1]], "firing_order": []}
    foreign = _foreign_line("engine-described", {"engine": engine}, read_chain(b"".join(lines)).head)
    chain = read_chain(b"".join(lines) + foreign)
    payload = chain.lines[-1].event.payload
    assert isinstance(payload, ev.Opaque)
    assert "twice" in payload.why


def test_another_form_is_refused() -> None:
    """A journal of another schema number is not guessed at."""
    other = _foreign_line("job-opened", {"schema": "hissway.job/2", "job": "x", "title": "t"}, GENESIS)
    chain = read_chain(other)
    assert not chain.lines
    assert "hissway.job/1" in chain.broken


def test_values_that_json_cannot_carry_are_refused_before_writing() -> None:
    """NaN, infinity, half a character: one sentence, nothing written."""
    for value in (math.nan, math.inf):
        with pytest.raises(JobError, match="not finite"):
            write_line(ev.ReadingEntered(reading="loss", value=value, unit="percent", si=1), prev=GENESIS, actor="")
    with pytest.raises(JobError):
        write_line(ev.NoteAdded(text="\ud800"), prev=GENESIS, actor="")


@given(st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_read_without_raising(data: bytes) -> None:
    """Garbage is torn or broken, never a traceback."""
    chain = read_chain(data)
    assert not chain.lines


def test_deep_nesting_does_not_exhaust_the_stack() -> None:
    """A hostile payload of a hundred thousand brackets is a broken line."""
    lines = journal([])
    prev = read_chain(b"".join(lines)).head
    deep = b"[" * 100_000 + b"]" * 100_000
    body = b'{"id":"a","time":"","actor":"","kind":"odd","payload":' + deep + b',"prev":"' + prev.encode() + b'"}'
    chain = read_chain(b"".join(lines) + _summed(body))
    assert chain.broken


def _foreign_line(kind: str, payload: object, prev: str) -> bytes:
    import msgspec

    body = msgspec.json.encode(
        {"id": "later", "time": "2030-01-01T00:00:00Z", "actor": "", "kind": kind, "payload": payload, "prev": prev}
    )
    return _summed(body)


def _summed(body: bytes) -> bytes:
    from listen.jobs.folder.journal import sha256

    return body[:-1] + f',"sum":"{sha256(body)}"}}\n'.encode()
