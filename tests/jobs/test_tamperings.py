"""Protects the record of a signed job: every way to tamper with it that we could think of, and by what it is found.

``files``: by the job's files alone. ``register``: by the register beside the jobs. ``keys``: by the list of keys known
on this machine. ``key``: where the key is named. ``head``: where a head kept elsewhere is given.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.exchange.keys import SMALL_ORDER, KnownKey, make_key
from listen.jobs.exchange.sign import sign_round, signed_bytes
from listen.jobs.exchange.verification import Against, Verification
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.chain import JOURNAL, read_chain
from listen.jobs.folder.journal import GENESIS, write_line
from listen.jobs.folder.store import open_job
from listen.jobs.folder.witnesses import REGISTER
from listen.jobs.hearing import pair_at
from listen.jobs.standing import standing
from tests.jobs.made import result
from tests.jobs.shop import quick_judge, small_job

MEANS = ("files", "register", "keys", "key", "head")
SITTING = "s1"
Told = list[tuple[ev.Event, ev.Payload]]
Act = Callable[[Path], None]


class Row(msgspec.Struct, frozen=True):
    """One tampering and the means that find it; every other means must not, so that what we say of it stays true."""

    act: Act
    found_by: tuple[str, ...]


TABLE: dict[str, Row] = {}


def tampering(*found_by: str) -> Callable[[Act], Act]:
    def add(act: Act) -> Act:
        TABLE[act.__name__.replace("_", " ")] = Row(act, found_by or MEANS)
        return act

    return add


# ---------------------------------------------------------------------- the job


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A jobs' folder with one judged, blindly confirmed and key-signed job, and the key beside it."""
    root = tmp_path_factory.mktemp("shop")
    folder = small_job(root / "jobs")
    with open_job(folder, actor="Bo") as opened:
        round_ = opened.job.rounds[0]
        said = {"round_id": round_.id, "name": "Bo", "sitting": SITTING}
        clips = tuple(c.id for c in pair_at(round_, "intake"))
        opened.append(
            ev.SatDown(sitting=SITTING, name="Bo", role="supervisor"),
            ev.PairPlayed(point="intake", clips=clips, **said),
            ev.ByEarCalled(paths=("intake-valve",), role="supervisor", **said),
            ev.NumbersShown(sitting=SITTING, name="Bo", rounds=(round_.id,), screen="confirm"),
            ev.Confirmed(blind=True, **said),
        )
        sign_round(opened, round_.id, name="Bo", key=make_key(root / "key.pem"))
    return root


@pytest.fixture
def job(shop: Path, tmp_path: Path) -> Path:
    """A copy to tamper with."""
    shutil.copytree(shop / "jobs", tmp_path / "jobs")
    (folder,) = (p for p in (tmp_path / "jobs").iterdir() if not p.name.startswith("."))
    return folder


def checked(folder: Path, means: str, shop: Path) -> Verification:
    from listen.jobs.exchange.keys import load_key

    public = load_key(shop / "key.pem").public_key().public_bytes_raw().hex()
    (whole,) = (p for p in (shop / "jobs").iterdir() if not p.name.startswith("."))
    head = read_chain((whole / JOURNAL).read_bytes()).head
    known = KnownKey(public_key=public, name="Bo", since="2026-01-01T00:00:00.000Z")
    against = {
        "files": Against(register=False),
        "register": Against(register=True),
        "keys": Against(register=False, keys=(known,)),
        "key": Against(register=False, demanded=(public,)),
        "head": Against(register=False, head=head),
    }
    return verify_job(folder, replace(against[means], judge=quick_judge))


def test_the_untouched_job_matches_by_every_means(job: Path, shop: Path) -> None:
    for means in MEANS:
        assert checked(job, means, shop).mismatches == ()


def test_every_tampering_is_found_by_just_the_means_named(job: Path, shop: Path, tmp_path: Path) -> None:
    """At least 60 of them."""
    assert len(TABLE) >= 60
    wrong = []
    for name, row in TABLE.items():
        folder = tmp_path / name / "jobs" / job.name
        shutil.copytree(job.parent, folder.parent)
        row.act(folder)
        found = tuple(m for m in MEANS if not checked(folder, m, shop).ok)
        if found != row.found_by:
            wrong.append(f"{name}: {row.found_by} expected, {found} found")
    assert not wrong, "\n".join(wrong)


def test_what_no_file_shows_is_said_with_what_to_keep() -> None:
    """Every tampering that the files alone do not show is named in DEVELOPERS.md."""
    said = " ".join((Path(__file__).parents[2] / "DEVELOPERS.md").read_text().split())
    for name, row in TABLE.items():
        if "files" not in row.found_by:
            assert name in said, name


# ---------------------------------------------------------------------- ways to write it


def lines_of(folder: Path) -> list[bytes]:
    return (folder / JOURNAL).read_bytes().splitlines(keepends=True)


def put(folder: Path, lines: Sequence[bytes]) -> None:
    (folder / JOURNAL).write_bytes(b"".join(lines))


def told(folder: Path) -> Told:
    return [(e, e.payload) for e in read_chain((folder / JOURNAL).read_bytes()).events()]


def remade(folder: Path, events: Told, sign: Ed25519PrivateKey | str | None = None) -> None:
    """The chain computed anew around changed events, and no summary left to witness it.

    ``sign``: "" leaves the signature under the round as a typed name, a key signs it again, None leaves it as it is.
    """
    prev, lines, job_id = GENESIS, [], ""
    for event, payload in events:
        if isinstance(payload, ev.JobOpened):
            job_id = payload.job
        if isinstance(payload, ev.Signed) and sign is not None:
            payload = replace(payload, head=prev, public_key="", signature="")
            if not isinstance(sign, str):
                payload = replace(payload, public_key=sign.public_key().public_bytes_raw().hex())
                payload = replace(payload, signature=sign.sign(signed_bytes(job_id, payload)).hex())
        line = write_line(payload, prev=prev, actor=event.actor, time=event.time, id=event.id)
        prev = line.hash
        lines.append(line.raw + b"\n")
    put(folder, lines)
    (folder / "job.json").unlink(missing_ok=True)


def changed(folder: Path, kind: type[ev.Payload], sign: Ed25519PrivateKey | str | None = None, **to: object) -> None:
    """The last event of a kind says something else, and the chain is computed anew."""
    events = told(folder)
    n = max(i for i, (_, p) in enumerate(events) if isinstance(p, kind))
    events[n] = (events[n][0], replace(events[n][1], **to))
    remade(folder, events, sign)


def without(folder: Path, *kinds: type[ev.Payload], sign: Ed25519PrivateKey | str | None = None) -> None:
    remade(folder, [(e, p) for e, p in told(folder) if not isinstance(p, kinds)], sign)


def rejudged(folder: Path, events: Told, sign: str | Ed25519PrivateKey | None = "") -> None:
    """Events changed under a result, and the result made to follow from them."""
    from listen.jobs.fold import fold
    from listen.jobs.folder.chain import read_chain as read
    from listen.jobs.to_round import to_round

    remade(folder, events, sign)
    job = fold(read((folder / JOURNAL).read_bytes()).events())
    again = quick_judge(to_round(job, job.rounds[0].id, folder))
    remade(folder, [(e, replace(p, result=again) if isinstance(p, ev.Judged) else p) for e, p in events], sign)


def clips(folder: Path) -> list[Path]:
    return sorted((folder / "clips").iterdir())


def with_sum(body: bytes) -> bytes:
    """A line with its own sum fitting, from its bytes up to the closing brace."""
    return body[:-1] + b',"sum":"' + hashlib.sha256(body).hexdigest().encode() + b'"}\n'


def body_of(line: bytes) -> bytes:
    return line[: line.index(b',"sum":"')] + b"}"


# ---------------------------------------------------------------------- the journal's bytes


@tampering()
def a_letter_changed(folder: Path) -> None:
    put(folder, [line.replace(b"intake-valve", b"intake-valvf", 1) for line in lines_of(folder)])


@tampering()
def a_line_dropped(folder: Path) -> None:
    lines = lines_of(folder)
    put(folder, lines[:3] + lines[4:])


@tampering()
def two_lines_swapped(folder: Path) -> None:
    lines = lines_of(folder)
    put(folder, [*lines[:3], lines[4], lines[3], *lines[5:]])


@tampering()
def a_line_twice(folder: Path) -> None:
    lines = lines_of(folder)
    put(folder, [*lines[:4], lines[3], *lines[4:]])


@tampering()
def a_strange_line_put_in(folder: Path) -> None:
    lines = lines_of(folder)
    put(folder, [*lines[:4], with_sum(b'{"id":"x","kind":"note-added"}'), *lines[4:]])


@tampering()
def the_last_line_cut(folder: Path) -> None:
    put(folder, lines_of(folder)[:-1])


@tampering()
def decision_and_signature_cut(folder: Path) -> None:
    put(folder, lines_of(folder)[:-2])


@tampering()
def half_a_line_cut(folder: Path) -> None:
    put(folder, [*lines_of(folder)[:-1], lines_of(folder)[-1][:-40]])


@tampering("files", "register", "keys", "key", "head")
def the_last_line_end_cut(folder: Path) -> None:
    put(folder, [*lines_of(folder)[:-1], lines_of(folder)[-1][:-1]])


@tampering()
def an_empty_journal(folder: Path) -> None:
    put(folder, [])


@tampering()
def a_name_twice_in_a_line(folder: Path) -> None:
    """Read one way here and another way by other programs; the sum fits."""
    last = body_of(lines_of(folder)[-1])
    put(folder, [*lines_of(folder)[:-1], with_sum(last.replace(b'"name":', b'"name":"Zo","name":', 1))])
    (folder / "job.json").unlink()


@tampering()
def a_sum_changed(folder: Path) -> None:
    lines = lines_of(folder)
    put(folder, [*lines[:-1], lines[-1][:-10] + b"0000000" + lines[-1][-3:]])


@tampering()
def line_ends_of_another_system(folder: Path) -> None:
    put(folder, [line[:-1] + b"\r\n" for line in lines_of(folder)])


@tampering()
def a_mark_before_the_first_line(folder: Path) -> None:
    put(folder, [b"\xef\xbb\xbf", *lines_of(folder)])


@tampering()
def an_empty_line_at_the_end(folder: Path) -> None:
    put(folder, [*lines_of(folder), b"\n"])


@tampering()
def the_journal_a_link(folder: Path) -> None:
    elsewhere = folder.parent.parent / "elsewhere"
    shutil.move(folder / JOURNAL, elsewhere)
    (folder / JOURNAL).symlink_to(elsewhere)


# ---------------------------------------------------------------------- the chain computed anew, the signature kept


@tampering()
def another_form_of_journal(folder: Path) -> None:
    changed(folder, ev.JobOpened, schema="hissway.job/2")


@tampering()
def the_job_opened_twice(folder: Path) -> None:
    events = told(folder)
    first = (replace(events[0][0], id="again"), events[0][1])
    remade(folder, [*events[:3], first, *events[3:]])


@tampering()
def an_event_id_twice(folder: Path) -> None:
    events = told(folder)
    remade(folder, [*events[:3], (replace(events[3][0], id=events[2][0].id), events[3][1]), *events[4:]])


@tampering()
def the_loss_under_a_kept_signature(folder: Path) -> None:
    changed(folder, ev.ReadingEntered, value=7, si=7.0)


@tampering()
def the_title_under_a_kept_signature(folder: Path) -> None:
    changed(folder, ev.JobOpened, title="Other engine")


@tampering()
def the_complaint_under_a_kept_signature(folder: Path) -> None:
    changed(folder, ev.JobOpened, complaint="knocks")


@tampering()
def an_overruling_for_an_agreement(folder: Path) -> None:
    events = told(folder)
    kept = [
        (e, ev.Overruled(round_id=p.round_id, name=p.name, paths=("rings",), reason="x", sitting=SITTING))
        if isinstance(p, ev.Confirmed)
        else (e, p)
        for e, p in events
    ]
    remade(folder, kept)


@tampering()
def the_name_of_the_decider(folder: Path) -> None:
    changed(folder, ev.Confirmed, name="Zo")


@tampering()
def the_probability_of_the_verdict(folder: Path) -> None:
    said = result()
    changed(folder, ev.Judged, result=replace(said, verdict=replace(said.verdict, probability=0.99)))


@tampering()
def the_path_of_the_verdict(folder: Path) -> None:
    changed(folder, ev.Judged, result=result("path", "rings"))


@tampering()
def the_point_of_a_clip(folder: Path) -> None:
    changed(folder, ev.ClipKept, point="radiator")


@tampering()
def the_techs_call(folder: Path) -> None:
    events = told(folder)
    n = next(i for i, (_, p) in enumerate(events) if isinstance(p, ev.ByEarCalled))
    events[n] = (events[n][0], replace(events[n][1], paths=("rings",)))
    remade(folder, events)


@tampering()
def a_pair_played_that_was_not(folder: Path) -> None:
    changed(folder, ev.PairPlayed, point="tailpipe")


@tampering()
def numbers_shown_taken_out(folder: Path) -> None:
    without(folder, ev.NumbersShown)


@tampering()
def a_finding_put_in_before_the_signature(folder: Path) -> None:
    events = told(folder)
    put_in = (replace(events[-1][0], id="f"), ev.FindingRecorded(cylinder=1, paths=("none",)))
    remade(folder, [*events[:-1], put_in, events[-1]])


@tampering()
def the_statement_that_was_signed(folder: Path) -> None:
    changed(folder, ev.Signed, statement="I have heard everything twice.")


@tampering()
def the_role_of_the_signer(folder: Path) -> None:
    changed(folder, ev.Signed, role="owner")


@tampering()
def the_head_that_was_signed(folder: Path) -> None:
    changed(folder, ev.Signed, head="0" * 64)


@tampering()
def the_key_under_a_kept_signature(folder: Path) -> None:
    changed(folder, ev.Signed, public_key=Ed25519PrivateKey.generate().public_key().public_bytes_raw().hex())


@tampering()
def a_signature_of_noughts(folder: Path) -> None:
    changed(folder, ev.Signed, signature="00" * 64)


@tampering()
def a_key_under_which_anyone_signs(folder: Path) -> None:
    """The neutral point as key, and its signature, which fits whatever was signed."""
    neutral = "01" + "00" * 31
    assert bytes.fromhex(neutral) in SMALL_ORDER
    events = told(folder)
    remade(folder, events, "")
    head = next(p.head for _, p in told(folder) if isinstance(p, ev.Signed))
    changed(folder, ev.Signed, head=head, public_key=neutral, signature=neutral + "00" * 32)


@tampering()
def the_time_of_an_event_under_a_kept_signature(folder: Path) -> None:
    events = told(folder)
    events[2] = (replace(events[2][0], time="2020-01-01T00:00:00.000Z"), events[2][1])
    remade(folder, events)


# ---------------------------------------------------------------------- the chain computed anew, signed anew


@tampering()
def a_forged_verdict_signed_by_a_typed_name(folder: Path) -> None:
    """Judged again it differs, whoever signed it."""
    changed(folder, ev.Judged, "", result=result("path", "rings"))


@tampering()
def a_blind_claim_after_the_numbers(folder: Path) -> None:
    """The numbers moved before the call; the decision still says blind."""
    events = told(folder)
    shown = next(i for i, (_, p) in enumerate(events) if isinstance(p, ev.NumbersShown))
    call = max(i for i, (_, p) in enumerate(events) if isinstance(p, ev.ByEarCalled))
    events.insert(call, events.pop(shown))
    remade(folder, events, "")


@tampering()
def a_blind_claim_with_nothing_played(folder: Path) -> None:
    without(folder, ev.PairPlayed, sign="")


@tampering()
def a_statement_that_says_more_than_was_heard(folder: Path) -> None:
    changed(folder, ev.Signed, "", statement="I have heard every clip ten times and agree.")


@tampering()
def clips_left_out_of_a_result(folder: Path) -> None:
    judged = next(p for _, p in told(folder) if isinstance(p, ev.Judged))
    changed(folder, ev.Judged, "", clips=judged.clips[:-1])


@tampering("register", "keys", "key", "head")
def a_keys_signature_replaced_by_a_typed_name(folder: Path) -> None:
    remade(folder, told(folder), "")


@tampering("register", "keys", "key", "head")
def signed_again_with_another_key(folder: Path) -> None:
    remade(folder, told(folder), Ed25519PrivateKey.generate())


@tampering("register", "keys", "key", "head")
def a_whole_chain_remade_under_a_typed_name(folder: Path) -> None:
    """Loss changed, judged again, signed with the same typed name: consistent in every respect."""
    events = [
        (e, replace(p, value=7, si=7.0) if isinstance(p, ev.ReadingEntered) and p.reading == "loss" else p)
        for e, p in told(folder)
    ]
    rejudged(folder, events)


@tampering("register", "keys", "key", "head")
def a_verdict_forged_as_by_another_version(folder: Path) -> None:
    """Results by another version cannot be judged again as they were; what today's judge says is told beside it."""
    changed(folder, ev.Judged, "", result=result("path", "rings"), version="0.0.1")


@tampering("register", "keys", "key", "head")
def another_actor_in_a_remade_chain(folder: Path) -> None:
    remade(folder, [(replace(e, actor="Zo"), p) for e, p in told(folder)], "")


@tampering("register", "keys", "key", "head")
def other_times_in_a_remade_chain(folder: Path) -> None:
    remade(folder, [(replace(e, time=e.time.replace("2026", "2027")), p) for e, p in told(folder)], "")


@tampering("register", "key", "head")
def the_last_line_cut_and_no_summary(folder: Path) -> None:
    put(folder, lines_of(folder)[:-1])
    (folder / "job.json").unlink()


@tampering("register", "key", "head")
def decision_and_signature_cut_and_no_summary(folder: Path) -> None:
    put(folder, lines_of(folder)[:-2])
    (folder / "job.json").unlink()


@tampering("register", "key", "head")
def an_older_journal_with_its_summary(folder: Path) -> None:
    put(folder, lines_of(folder)[:-6])
    (folder / "job.json").unlink()
    from listen.jobs.folder.store import list_jobs

    list_jobs(folder.parent)


@tampering("key", "head")
def an_older_journal_and_the_register_with_it(folder: Path) -> None:
    put(folder, lines_of(folder)[:-6])
    (folder / "job.json").unlink()
    shutil.rmtree(folder.parent / REGISTER)


@tampering("register", "key", "head")
def an_older_journal_and_the_register_damaged(folder: Path) -> None:
    put(folder, lines_of(folder)[:-6])
    (folder / "job.json").unlink()
    (folder.parent / REGISTER / f"{folder.name}.json").write_bytes(b"{")


@tampering("register")
def the_register_a_link(folder: Path) -> None:
    place, elsewhere = folder.parent / REGISTER / f"{folder.name}.json", folder.parent.parent / "elsewhere.json"
    shutil.move(place, elsewhere)
    place.symlink_to(elsewhere)


def told_elsewhere(folder: Path, sign: Ed25519PrivateKey | None) -> None:
    """Lines as if merged from another machine: whoever wrote them overrules, in ignorance of the decision here."""
    lines = read_chain((folder / JOURNAL).read_bytes()).lines
    fork, round_id = lines[-3].hash, lines[-1].event.payload.round_id
    said = ev.Overruled(round_id=round_id, name="Cy", paths=("rings",), reason="x")
    first = write_line(said, prev=fork, actor="Cy", time="2099-01-01T00:00:00.000Z")
    words = (
        "I overrule the program's verdict: rings. How the clips were heard was not recorded. I stand by what is "
        "recorded here."
    )
    signed = ev.Signed(round_id=round_id, name="Cy", role="supervisor", statement=words, head=first.hash)
    if sign is not None:
        signed = replace(signed, public_key=sign.public_key().public_bytes_raw().hex())
        signed = replace(signed, signature=sign.sign(signed_bytes(lines[0].event.payload.job, signed)).hex())
    second = write_line(signed, prev=first.hash, actor="Cy", time="2099-01-01T00:01:00.000Z")
    merged = ev.Merged(fork=fork, lines=tuple(msgspec.Raw(line.raw) for line in (first, second)), source="post")
    put(folder, [*lines_of(folder), write_line(merged, prev=lines[-1].hash, actor="hissway").raw + b"\n"])


@tampering("keys", "key")
def a_branch_signed_with_a_strange_key(folder: Path) -> None:
    """It has the same authority as the shop's until keys are compared; both decisions are shown as disputed."""
    told_elsewhere(folder, Ed25519PrivateKey.generate())


@tampering("key")
def a_branch_signed_by_a_typed_name(folder: Path) -> None:
    """The decision held by a key goes on counting; the other is shown beside it until someone settles it."""
    told_elsewhere(folder, None)
    stands = standing(open_job(folder, write=False).job.rounds[0])
    assert stands.how == "agreed" and stands.disputed


@tampering()
def an_older_journal_opened_for_writing(folder: Path) -> None:
    """The program found it shorter than it was and said so in the journal itself."""
    put(folder, lines_of(folder)[:-2])
    (folder / "job.json").unlink()
    open_job(folder).close()


@tampering("register", "key", "head")
def another_job_in_its_place(folder: Path) -> None:
    """Whole in itself, under the same folder's name."""
    other = small_job(folder.parent.parent / "other", "Another engine")
    shutil.rmtree(folder)
    shutil.copytree(other, folder)


@tampering("register", "keys", "key", "head")
def a_decision_put_in_under_anothers_name(folder: Path) -> None:
    events = told(folder)
    said = ev.Overruled(round_id=events[-1][1].round_id, name="Cy", paths=("rings",), reason="x")  # type: ignore[attr-defined]
    signed = events[-1]
    remade(folder, [*events[:-2], (replace(signed[0], id="o"), said), signed], "")
    changed(folder, ev.Signed, "", statement="How the clips were heard was not recorded.")


# ---------------------------------------------------------------------- clips


@tampering()
def a_clip_removed(folder: Path) -> None:
    clips(folder)[0].unlink()


@tampering()
def a_clip_cut_short(folder: Path) -> None:
    clips(folder)[0].write_bytes(clips(folder)[0].read_bytes()[:-9])


@tampering()
def a_clip_with_a_byte_after_its_end(folder: Path) -> None:
    clips(folder)[0].write_bytes(clips(folder)[0].read_bytes() + b"\0")


@tampering()
def a_clip_with_one_bit_changed(folder: Path) -> None:
    data = bytearray(clips(folder)[0].read_bytes())
    data[len(data) // 2] ^= 4
    clips(folder)[0].write_bytes(data)


@tampering()
def two_clips_swapped(folder: Path) -> None:
    a, b, *_ = clips(folder)
    held = a.read_bytes()
    a.write_bytes(b.read_bytes())
    b.write_bytes(held)


@tampering()
def a_clip_a_link_to_the_same_sound(folder: Path) -> None:
    first, elsewhere = clips(folder)[0], folder.parent.parent / "elsewhere.flac"
    shutil.move(first, elsewhere)
    first.symlink_to(elsewhere)


@tampering()
def the_clips_folder_a_link(folder: Path) -> None:
    elsewhere = folder.parent.parent / "clips elsewhere"
    shutil.move(folder / "clips", elsewhere)
    (folder / "clips").symlink_to(elsewhere)


@tampering()
def a_strange_file_among_the_clips(folder: Path) -> None:
    (folder / "clips" / "stranger.flac").write_bytes(b"x")


@tampering()
def a_clip_renamed(folder: Path) -> None:
    clips(folder)[0].rename(folder / "clips" / "renamed.flac")


@tampering()
def a_clip_a_folder(folder: Path) -> None:
    first = clips(folder)[0]
    first.unlink()
    first.mkdir()


@tampering()
def a_clip_a_pipe(folder: Path) -> None:
    """Reading it would wait for ever."""
    first = clips(folder)[0]
    first.unlink()
    os.mkfifo(first)


@tampering()
def a_clip_taken_back_by_hand(folder: Path) -> None:
    events = told(folder)
    back = (replace(events[-1][0], id="b"), ev.ClipTakenBack(clip=clips(folder)[0].stem))
    remade(folder, [*events[:-1], back, events[-1]])


# ---------------------------------------------------------------------- the summary


@tampering()
def a_damaged_summary(folder: Path) -> None:
    (folder / "job.json").write_bytes(b"{")


@tampering()
def a_summary_of_more_events_than_there_can_be(folder: Path) -> None:
    summary = msgspec.json.decode((folder / "job.json").read_bytes())
    (folder / "job.json").write_bytes(json.dumps({**summary, "events": 10**30}).encode())


@tampering()
def an_untrue_summary(folder: Path) -> None:
    (folder / "job.json").write_bytes((folder / "job.json").read_bytes().replace(b"Bench engine", b"Other engine"))


@tampering()
def the_summary_of_another_job(folder: Path) -> None:
    other = small_job(folder.parent.parent / "other", "Another engine")
    shutil.copyfile(other / "job.json", folder / "job.json")
