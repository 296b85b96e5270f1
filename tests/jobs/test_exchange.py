"""Protects jobs that travel: packed here, unpacked there, signed, sent back, merged, never overwritten."""

from __future__ import annotations

import random
import zipfile
from pathlib import Path

import pytest

from listen.durable import sha256_of
from listen.errors import JobError, JournalBroken
from listen.jobs import events as ev
from listen.jobs.exchange.keys import make_key
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.sign import sign_round
from listen.jobs.exchange.unpack import Unpacked, unpack
from listen.jobs.exchange.verify import verify_path
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.to_round import judged, to_round
from tests.jobs.shop import QUICK, quick_judge, record, small_job
from tests.jobs.short import note_texts


def send(folder: Path, to_root: Path, tmp: Path) -> Unpacked:
    """Pack a job and unpack it at the other end."""
    file = tmp / f"post-{random.getrandbits(64):x}.zip"
    pack(folder, file)
    return unpack(file, to_root)


def note(folder: Path, *texts: str) -> None:
    with open_job(folder, actor="Ann") as opened:
        for text in texts:
            opened.append(ev.NoteAdded(text=text))


def notes(folder: Path) -> list[str]:
    return sorted(note_texts(open_job(folder, write=False).job))


def test_a_job_arrives_whole(tmp_path: Path) -> None:
    """The same job, the same bytes, verified on arrival."""
    here = small_job(tmp_path / "here")
    done = send(here, tmp_path / "there", tmp_path)
    assert done.how == "new"
    assert done.folder.name == here.name
    assert (done.folder / JOURNAL).read_bytes() == (here / JOURNAL).read_bytes()
    mine, theirs = open_job(here, write=False).job, open_job(done.folder, write=False).job
    assert mine == theirs
    for clip in (c for r in mine.rounds for c in r.clips):
        assert sha256_of(done.folder / "clips" / f"{clip.id}.flac") == clip.kept.sha256
    assert verify_path(done.folder, QUICK).ok
    left = sorted(p.name for p in (tmp_path / "there").iterdir())
    assert left == [".heads", done.folder.name], "nothing is left lying about but the register"


def test_the_supervisor_signs_and_the_tech_sees_it(tmp_path: Path) -> None:
    """Record, pack, unpack, confirm, sign with a key, pack back: the tech's job goes forward by those events."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    key = make_key(tmp_path / "key.pem")
    with open_job(there, actor="Bo") as opened:
        round_id = opened.job.rounds[0].id
        opened.append(ev.ByEarCalled(round_id=round_id, paths=("intake-valve",), role="supervisor", name="Bo"))
        opened.append(ev.Confirmed(round_id=round_id, name="Bo", blind=True))
        sign_round(opened, round_id, name="Bo", key=key)
    done = send(there, tmp_path / "here", tmp_path)
    assert (done.how, done.events, done.folder) == ("forwarded", 3, here)
    record_ = open_job(here, write=False).job.rounds[0]
    assert record_.signed
    assert record_.changed_after_signing == ()
    assert (here / JOURNAL).read_bytes() == (there / JOURNAL).read_bytes()
    found = verify_path(here, QUICK)
    assert found.ok
    assert found.signatures == 1
    assert any("signed with key" in r for r in found.remarks)


def test_unpacking_the_same_again_or_an_older_copy_changes_nothing(tmp_path: Path) -> None:
    """Twice the same zip, and a zip from before: nothing new, not a byte written."""
    here = small_job(tmp_path / "here")
    pack(here, tmp_path / "old.zip")
    note(here, "later")
    data = (here / JOURNAL).read_bytes()
    assert unpack(tmp_path / "old.zip", tmp_path / "here").how == "nothing-new"
    assert send(here, tmp_path / "here", tmp_path).how == "nothing-new"
    assert (here / JOURNAL).read_bytes() == data


def test_both_machines_went_on_and_the_job_holds_both(tmp_path: Path) -> None:
    """A fork: events and clips of both count, contradictions are said, a second exchange makes both equal."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    round_id = open_job(here, write=False).job.rounds[0].id
    for folder, who, loss in ((here, "Ann", 30.0), (there, "Cy", 35.0)):
        with open_job(folder, actor=who) as opened:
            record(opened, round_id, "oil-filler", "quiet", "quiet", seed=int(loss))
            opened.append(
                ev.NoteAdded(text=f"note of {who}"),
                ev.ReadingEntered(reading="loss", value=loss, unit="percent", si=loss, cylinder=1, round_id=round_id),
            )
            opened.append(judged(opened.job, round_id, quick_judge(to_round(opened.job, round_id, folder))))
    done = send(there, tmp_path / "here", tmp_path)
    assert (done.how, done.events, done.folder) == ("merged", 4, here)
    assert "Loss of cylinder 1 was entered differently" in done.text
    assert "30 % (Ann, " in done.text and "35 % (Cy, " in done.text
    job = open_job(here, write=False).job
    assert sorted(note_texts(job)) == ["note of Ann", "note of Cy"]
    assert len(job.rounds[0].live_clips("oil-filler")) == 2
    assert job.rounds[0].stale, "neither machine judged from the clips of both"
    found = verify_path(here, QUICK)
    assert found.ok, found.mismatches
    assert found.results == 3, "each result is judged again from what its own machine had"
    back = send(here, tmp_path / "there", tmp_path)
    assert back.how == "adopted"
    assert (there / JOURNAL).read_bytes() == (here / JOURNAL).read_bytes()
    assert not list(there.glob("journal-before-*")), "all of ours is in theirs: no copy is left behind"
    assert open_job(there, write=False).job == job
    assert verify_path(there, QUICK).ok
    assert send(there, tmp_path / "here", tmp_path).how == "nothing-new"
    with open_job(there) as again:
        assert not [t for t in again.job.troubles if "not the journal" in t]


def test_a_signature_covers_only_what_the_signer_had(tmp_path: Path) -> None:
    """The tech recorded on while the supervisor signed: the round is signed, and says what was not seen."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    round_id = open_job(here, write=False).job.rounds[0].id
    with open_job(there, actor="Bo") as opened:
        sign_round(opened, round_id, name="Bo", key=make_key(tmp_path / "key.pem"))
    with open_job(here, actor="Ann") as opened:
        record(opened, round_id, "tailpipe", "air", "air", seed=99)
    assert send(there, tmp_path / "here", tmp_path).how == "merged"
    signed = open_job(here, write=False).job.rounds[0]
    assert signed.signed
    (said,) = signed.changed_after_signing
    assert said.startswith("not seen by Bo: clip kept, by Ann")
    with open_job(here, write=False) as opened:
        live = opened.job
    found = verify_path(here, QUICK)
    assert found.ok
    assert any("not seen by Bo" in r for r in found.remarks)
    send(here, tmp_path / "there", tmp_path)
    assert open_job(there, write=False).job == live


def test_a_change_after_signing_says_so(tmp_path: Path) -> None:
    """The signature stands, the later event is told wherever the round is shown."""
    here = small_job(tmp_path / "here")
    with open_job(here, actor="Ann") as opened:
        round_id = opened.job.rounds[0].id
        sign_round(opened, round_id, name="Bo")
        with pytest.raises(JobError, match="signed this round already"):
            sign_round(opened, round_id, name="Bo")
        with pytest.raises(JobError, match="needs a name"):
            sign_round(opened, round_id, name="  ")
        opened.append(ev.ClipTakenBack(clip=opened.job.rounds[0].clips[0].id))
        assert len(opened.job.rounds[0].changed_after_signing) == 1
        sign_round(opened, round_id, name="Bo")  # after a change it may be signed anew


@pytest.mark.parametrize("seed", range(6))
def test_three_machines_in_any_order_end_with_the_same_events(tmp_path: Path, seed: int) -> None:
    """Random work and random post between three machines: nobody loses an event, all verify, then all agree."""
    rng = random.Random(seed)
    roots = [tmp_path / name for name in ("a", "b", "c")]
    first = small_job(roots[0])
    folders = [first, *(send(first, root, tmp_path).folder for root in roots[1:])]
    written: list[str] = []
    for step in range(14):
        a, b = rng.sample(range(3), 2)
        if rng.random() < 0.5:
            written.append(f"note {step}")
            note(folders[a], written[-1])
        else:
            before = set(notes(folders[b])) | set(notes(folders[a]))
            assert send(folders[a], roots[b], tmp_path).folder == folders[b]
            assert set(notes(folders[b])) == before
    for _ in range(2):
        for a, b in ((0, 1), (1, 2), (2, 0), (0, 1)):
            send(folders[a], roots[b], tmp_path)
    for folder in folders:
        assert notes(folder) == sorted(written)
        assert verify_path(folder, QUICK).ok
    assert len({(f / JOURNAL).read_bytes() for f in folders}) == 1, "after enough post all hold the same journal"
    assert all(len(list_jobs(root)) == 1 for root in roots)


def test_two_who_always_write_at_once_do_not_swell_the_journal(tmp_path: Path) -> None:
    """Post crossing on the way, six times: lines held already are named, not repeated; then both agree."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    sizes = []
    for n in range(6):
        note(here, f"here {n}")
        note(there, f"there {n}")
        pack(here, tmp_path / f"here{n}.zip")
        pack(there, tmp_path / f"there{n}.zip")
        assert unpack(tmp_path / f"there{n}.zip", tmp_path / "here").how == "merged"
        assert unpack(tmp_path / f"here{n}.zip", tmp_path / "there").how == "merged"
        sizes.append((here / JOURNAL).stat().st_size)
    assert sizes[-1] < 9 * sizes[0], "repeating what is held would double it each time, to 32 times"
    assert len(notes(here)) == 12
    assert notes(here) == notes(there)
    for folder in (here, there):
        assert verify_path(folder, QUICK).ok
    assert {send(here, tmp_path / "there", tmp_path).how, send(there, tmp_path / "here", tmp_path).how} == {
        "adopted",
        "nothing-new",
    }
    assert (here / JOURNAL).read_bytes() == (there / JOURNAL).read_bytes()


def test_a_merge_that_refers_to_what_is_not_here_is_refused(tmp_path: Path) -> None:
    """A hash nobody holds, a fork nobody has: the chain is broken there, not guessed at."""
    import msgspec

    from listen.jobs.folder.chain import read_chain
    from listen.jobs.folder.journal import write_line

    here = small_job(tmp_path / "here")
    data = (here / JOURNAL).read_bytes()
    chain = read_chain(data)
    stray = write_line(ev.NoteAdded(text="x"), prev=chain.head, actor="")
    for fork, raw, words in (
        (chain.lines[2].hash, f'"{"0" * 64}"'.encode(), "refer to a line"),
        ("0" * 64, stray.raw, "fork from a line"),
        (chain.lines[2].hash, stray.raw, "do not hold from the 1th"),
    ):
        merged = ev.Merged(fork=fork, lines=(msgspec.Raw(raw),), source="s")
        line = write_line(merged, prev=chain.head, actor="")
        found = read_chain(data + line.raw + b"\n")
        assert words in found.broken
        assert len(found.lines) == len(chain.lines)
        with open_job(here) as opened, pytest.raises(JobError, match="cannot be added"):
            opened.append(merged)
    assert (here / JOURNAL).read_bytes() == data


def test_journals_without_a_common_beginning_are_kept_side_by_side(tmp_path: Path) -> None:
    """Same id, other first line: a second copy beside the first, and it is said."""
    here = small_job(tmp_path / "here")
    job_id = open_job(here, write=False).job.id
    import msgspec

    from listen.jobs.folder.journal import GENESIS, write_line
    from tests.jobs.made import opened

    first = write_line(msgspec.structs.replace(opened("Bench engine"), job=job_id), prev=GENESIS, actor="Cy")
    other = tmp_path / "elsewhere" / "job"
    other.mkdir(parents=True)
    (other / JOURNAL).write_bytes(first.raw + b"\n")
    data = (here / JOURNAL).read_bytes()
    done = send(other, tmp_path / "here", tmp_path)
    assert done.how == "beside"
    assert "side by side" in done.text
    assert done.folder != here
    assert (here / JOURNAL).read_bytes() == data
    note(other, "more")
    again = send(other, tmp_path / "here", tmp_path)
    assert (again.how, again.folder) == ("forwarded", done.folder), "the second copy is the one that goes on"


def test_a_job_open_here_takes_a_bag_in_and_a_broken_one_is_left_alone(tmp_path: Path) -> None:
    """Open elsewhere: it comes in and is seen there. Broken: the copy that came in is put beside it."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    note(there, "new")
    with open_job(here) as opened:
        assert send(there, tmp_path / "here", tmp_path).how == "forwarded"
        assert note_texts(opened.catch_up()) == ("new",)
    note(there, "newer")
    (here / JOURNAL).write_bytes((here / JOURNAL).read_bytes().replace(b"percent", b"perzent"))
    done = send(there, tmp_path / "here", tmp_path)
    assert done.how == "beside"
    assert done.folder != here
    with pytest.raises(JournalBroken):
        pack(here, tmp_path / "broken.zip")


def test_pack_refuses_to_replace_a_file_or_to_send_a_damaged_clip(tmp_path: Path) -> None:
    """An existing zip stays; a clip that changed is named."""
    here = small_job(tmp_path / "here")
    (tmp_path / "there.zip").write_text("mine")
    with pytest.raises(JobError, match="not replaced"):
        pack(here, tmp_path / "there.zip")
    assert (tmp_path / "there.zip").read_text() == "mine"
    clip = next((here / "clips").iterdir())
    clip.write_bytes(clip.read_bytes()[:-1] + b"?")
    with pytest.raises(JobError, match=clip.name):
        pack(here, tmp_path / "out.zip")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["here", "there.zip"]


def test_a_damaged_clip_here_is_not_papered_over(tmp_path: Path) -> None:
    """New events for a job whose clip is damaged here: refused, nothing taken in."""
    here = small_job(tmp_path / "here")
    there = send(here, tmp_path / "there", tmp_path).folder
    note(there, "new")
    clip = next((here / "clips").iterdir())
    clip.write_bytes(b"damaged")
    data = (here / JOURNAL).read_bytes()
    with pytest.raises(JobError, match="hissway verify"):
        send(there, tmp_path / "here", tmp_path)
    assert (here / JOURNAL).read_bytes() == data


def test_the_bag_is_accepted_by_the_bagit_library_itself(tmp_path: Path) -> None:
    """Any BagIt tool opens it: unzipped with the standard library, validated by bagit, hostile shop name and all."""
    import bagit

    here = small_job(tmp_path / "here", "Räder\nX: y 🔧")
    pack(here, tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        archive.extractall(tmp_path / "plain")
    (folder,) = (tmp_path / "plain").iterdir()
    bag = bagit.Bag(str(folder))
    bag.validate()
    assert bag.info["External-Identifier"] == open_job(here, write=False).job.id
    assert bag.info["Source-Organization"] == "Invented & Sons"
    assert verify_path(folder, QUICK).ok
    assert verify_path(tmp_path / "out.zip", QUICK).ok


def test_packing_while_recording_takes_what_is_on_disk(tmp_path: Path) -> None:
    """The writer holds the lock; the zip holds the events so far."""
    here = small_job(tmp_path / "here")
    with open_job(here) as opened:
        opened.append(ev.NoteAdded(text="so far"))
        done = send(here, tmp_path / "there", tmp_path)
        opened.append(ev.NoteAdded(text="later"))
    assert notes(done.folder) == ["so far"]
