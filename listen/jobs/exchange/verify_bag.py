"""Verify whatever holds a job: its folder, a bag lying open, or a zip."""

from pathlib import Path

from msgspec.structs import replace

from listen.errors import JobError
from listen.jobs.exchange.bag import bag_faults, open_bag, untrue
from listen.jobs.exchange.verification import ALONE, Against, Mismatch, Verification
from listen.jobs.exchange.verify import verify_job
from listen.jobs.exchange.verify_results import Evaluate
from listen.jobs.exchange.zip_guard import unzip_bag
from listen.jobs.fold import fold
from listen.jobs.folder.journal_file import JOURNAL, read_journal
from listen.temporary_folder import temporary_folder


def verify_path(
    path: Path, *, results: bool = True, evaluate: Evaluate | None = None, against: Against = ALONE
) -> Verification:
    """Check a job folder, an open bag or a zip; see :func:`listen.jobs.exchange.verify.verify_job`.

    Raises JobError: none of these, or a zip that is damaged or refused."""
    if path.is_file():
        with temporary_folder("hissway-verify-") as scratch:
            return _bag(unzip_bag(path, scratch), results, evaluate, against)
    if (bag := open_bag(path)) is not None:
        return _bag(bag, results, evaluate, against)
    return verify_job(path, results=results, evaluate=evaluate, against=against)


def _bag(bag: Path, results: bool, evaluate: Evaluate | None, against: Against) -> Verification:
    faults = tuple(Mismatch("bag", name, why) for name, why in bag_faults(bag))
    if not (bag / "data" / JOURNAL).is_file():
        if not faults:
            raise JobError(f"{bag}: this bag holds no {JOURNAL}; it is not a job")
        return Verification(job="", mismatches=faults)
    alone = replace(against, register=False)  # a bag has no jobs beside it
    found = verify_job(bag / "data", results=results, evaluate=evaluate, against=alone)
    chain = read_journal(bag / "data")
    if not faults and not chain.broken:
        faults = tuple(Mismatch("bag", "bag-info.txt", lie) for lie in untrue(bag, fold(chain.events()), chain))
    return replace(found, mismatches=(*faults, *found.mismatches))
