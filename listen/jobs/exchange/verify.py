"""Everything a job claims, computed again: journal, history, files, signatures, decisions, every stored result; of a
folder, a bag lying open, or a zip."""

from collections.abc import Iterator
from pathlib import Path

from msgspec.structs import replace

from listen.errors import JobError
from listen.jobs.exchange.bag import bag_faults, open_bag, untrue
from listen.jobs.exchange.sign import SignatureCheck, check_signatures, statement_on
from listen.jobs.exchange.verification import ALONE, Against, Mismatch, Verification, clip_faults, journal_faults
from listen.jobs.exchange.verify_results import check_results
from listen.jobs.exchange.zip_guard import unzip_bag
from listen.jobs.fold import fold
from listen.jobs.folder import witnesses
from listen.jobs.folder.chain import JOURNAL, Chain, read_journal
from listen.jobs.folder.parts import clip_fault
from listen.jobs.folder.witnesses import stored_summary
from listen.jobs.hearing import same_person
from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import covers
from listen.temporary_folder import temporary_folder


def verify_job(folder: Path, against: Against = ALONE) -> Verification:
    """Check a job folder, and that it agrees with the judge, the keys, the head and the register of ``against``.

    Raises JobError: not a job folder, or it cannot be read."""
    register = witnesses.known(folder) if against.register else None
    lost = against.register and witnesses.damaged(folder)
    summary = stored_summary(folder)
    chain = read_journal(folder)  # after its witnesses: another program may be writing
    job = fold(chain.events())
    signatures = check_signatures(chain)
    kept = chain.clips()
    bad = {clip.clip: why for clip in kept.values() if (why := clip_fault(folder, clip))}
    vouched = frozenset[str]() if against.judge else _vouched(chain, signatures, against, register)
    judged, results, skipped = check_results(folder, chain, against.judge, vouched, frozenset(bad))
    told = [
        *journal_faults(folder, chain, summary),
        *_history(job, chain, against, register, lost),
        *clip_faults(folder, tuple(kept.values()), bad),
        *_signatures(job, signatures, against),
        *(one for record in job.rounds for one in _decisions(job, record)),
        *judged,
        *job.troubles,
    ]
    return Verification(
        job=job.title,
        head=chain.head,
        events=job.events,
        clips=len(kept),
        signatures=len(signatures),
        results=results,
        skipped=skipped,
        mismatches=tuple(one for one in told if isinstance(one, Mismatch)),
        remarks=tuple(one for one in told if isinstance(one, str)),
    )


Told = Iterator[Mismatch | str]
"""What does not match, and in between what is worth knowing."""


def _history(job: Job, chain: Chain, against: Against, register: witnesses.Known | None, lost: bool) -> Told:
    """What others remember of this history and it does not hold."""
    if lost:
        yield Mismatch("history", witnesses.REGISTER, "what it held of this job is damaged, or a link")
    elif against.register and register is None:
        yield "no register beside this job knows it: that its history was cut short would not be noticed here"
    if gone := witnesses.missing(register, job.id, chain):
        yield Mismatch("history", JOURNAL, gone)
    if against.head and against.head not in chain.hashes():
        yield Mismatch(
            "history", JOURNAL, f"no event has the hash {against.head}: cut short, or another history of this job"
        )


def _signatures(job: Job, checks: tuple[SignatureCheck, ...], against: Against) -> Told:
    for check in checks:
        signed = check.signed
        if why := against.signature_fault(check, job.shop):
            yield Mismatch("signature", f"{signed.name}, round {signed.round_id}", why)
        else:
            whose = against.whose(signed.public_key)
            known = f", known here as that of {whose}" if whose else "; compare it with the one the shop gave you"
            yield f"{signed.name}: {check.text}{known if signed.public_key else ''}"
    if against.demanded and not checks:
        yield Mismatch("signature", "job", "holds no signature, and one by a certain key was asked for")
    every = [check.signed for check in checks]
    for n, one in enumerate(every):
        if not one.public_key and any(s.public_key and same_person(s.name, one.name) for s in every[:n]):
            yield f"{one.name}: typed name without a key, though {one.name} signed with one before; ask them"


def _decisions(job: Job, record: RoundRecord) -> Told:
    """What the record of the sitting does not bear out of how a decision was made, and what to know of the round."""
    where = f"round on cylinder {record.cylinder}"
    for d in record.decisions:
        name, heard = d.payload.name, d.heard
        if d.payload.blind and not heard.recorded:
            yield f"{where}: {name} is said to have decided blind; what was played was not recorded"
        elif d.payload.blind and not heard.blind:
            at = f"{name}, cylinder {record.cylinder}, event {d.event.id}"
            yield Mismatch("decision", at, "says that it was made blind; what was shown and played says otherwise")
        if d.own_work:
            yield f"{where}: {name} decides on a round they recorded themselves"
        # At its end: before it may stand whose decision is signed.
        for signed in (s for s in d.signatures if heard.recorded and not s.statement.endswith(statement_on(d))):
            at = f"statement of {signed.name}, round {record.id}"
            yield Mismatch("decision", at, "states other than what is recorded")
    for one in record.open_decisions[:-1]:
        yield f"{where}: {one.payload.name} decided without knowing of the decision that counts; a person settles it"
    if record.signed and not record.changed_after_signing:
        yield f"{where}: {covers(job, record)}"
    for change in record.changes:
        yield f"{where}: {change.sentence}"


def _vouched(
    chain: Chain, checks: tuple[SignatureCheck, ...], against: Against, register: witnesses.Known | None
) -> frozenset[str]:
    """Ids of events that a known key's signature, the head that was given or the register vouches for."""
    by_key = {
        c.event.id for c in checks if c.state == "good" and (against.demanded or against.whose(c.signed.public_key))
    }
    known = {against.head, *((register.last.head,) if register else ())} - {""}
    every = tuple(chain.events())
    vouching = ((n, e) for n, e in enumerate(every, 1) if e.line in known or e.id in by_key)
    # Each line names the one before by hash: whoever vouches for one vouches for all that its writer knew.
    return frozenset(one.id for n, e in vouching for one in every[:n] if e.knew_of(one.place))


def verify_path(path: Path, against: Against = ALONE) -> Verification:
    """Check a job folder, an open bag or a zip; see :func:`listen.jobs.exchange.verify.verify_job`.

    Raises JobError: none of these, or a zip that is damaged or refused."""
    if path.is_file():
        with temporary_folder("hissway-verify-") as scratch:
            return verify_bag(unzip_bag(path, scratch), against)
    if (bag := open_bag(path)) is not None:
        return verify_bag(bag, against)
    return verify_job(path, against)


def verify_bag(bag: Path, against: Against = ALONE) -> Verification:
    """Check an open bag. Raises JobError: it holds no job."""
    faults = tuple(Mismatch("bag", name, why) for name, why in bag_faults(bag))
    if not (bag / "data" / JOURNAL).is_file():
        if not faults:
            raise JobError(f"{bag}: this bag holds no {JOURNAL}; it is not a job")
        return Verification(job="", mismatches=faults)
    found = verify_job(bag / "data", replace(against, register=False))  # a bag has no jobs beside it
    chain = read_journal(bag / "data")
    if not faults and not chain.broken:
        faults = tuple(Mismatch("bag", "bag-info.txt", lie) for lie in untrue(bag, fold(chain.events()), chain))
    return replace(found, mismatches=(*faults, *found.mismatches))
