"""An attacker with every file and no ears: what can be called right of rounds that nobody listens to?

``python tests/lab/attacker.py`` plays 200 fresh rounds and 200 of kept sets and prints what each way scores. Between
meeting a round and calling it, it reads every byte in the lab and in the folder for passing files.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

from listen.lab.learners import create_learner
from listen.lab.training.book import Call
from listen.lab.training.drills import DrillSet
from listen.lab.training.next_drill import ALL
from listen.lab.training.session import Session, practise, start
from listen.rate import Rate, exact_rate
from listen.trade.points import PathId

WAYS = ("a word in what was written since the last answer", "the most frequent so far", "what followed the last truth")
WAYS += ("the sums' digits as before", "sizes of files as before", "the round's name as before")
PATHS = tuple(str(p) for p in PathId)


class Attacker:
    """Looks at all files before each call and learns from each truth."""

    def __init__(self, places: tuple[Path, ...]) -> None:
        self.places = places
        self.truths: list[str] = []
        self.before: dict[str, bytes] = {}
        self.tables: dict[str, dict[object, Counter]] = {way: defaultdict(Counter) for way in WAYS}
        self.right: Counter[str] = Counter()
        self.rounds = 0

    def files(self) -> dict[str, bytes]:
        found = {}
        for place in self.places:
            for path in sorted(p for p in place.rglob("*") if p.is_file()):
                try:
                    found[str(path)] = path.read_bytes()
                except OSError:
                    continue
        return found

    def clues(self) -> dict[str, object]:
        """What each way goes by."""
        found = self.files()
        new = b"\n".join(data[len(self.before.get(name, b"")) :] for name, data in found.items())
        last_line = new.strip().rsplit(b"\n", 1)[-1]
        words = [p for p in PATHS if p.encode() in last_line]
        digit = re.search(rb'"held_to":"([0-9a-f])', last_line)
        items = re.findall(rb'"(?:item|order)":"?([0-9a-f]+)', new)
        return dict(
            zip(
                WAYS,
                (
                    words[0] if words else None,
                    "",
                    self.truths[-1] if self.truths else None,
                    digit.group(1) if digit else None,
                    sum(map(len, found.values())) % 64,
                    items[-1][:1] if items else None,
                ),
                strict=True,
            )
        )

    def calls(self, clues: dict[str, object]) -> dict[str, str]:
        """Most frequent truth where the clue was the same; a word seen is taken at its word."""
        often = Counter(self.truths)
        calls = {}
        for way, clue in clues.items():
            seen = self.tables[way][clue] or often
            calls[way] = str(seen.most_common(1)[0][0]) if seen else "none"
        if (word := clues[WAYS[0]]) is not None:
            calls[WAYS[0]] = str(word)
        return calls

    def learn(self, clues: dict[str, object], calls: dict[str, str], truth: tuple[str, ...]) -> None:
        name = "+".join(truth) if len(truth) == 1 else "two leaks"
        for way, clue in clues.items():
            self.tables[way][clue][name] += 1
            self.right[way] += calls[way] == name
        self.truths.append(name)
        self.rounds += 1
        self.before = self.files()

    def rates(self) -> dict[str, Rate]:
        return {way: exact_rate(self.right[way], self.rounds) for way in WAYS}


def attack(root: Path, sittings: int, begin: Callable[[Path, object], Session], temp: Path) -> Attacker:
    """Play sittings of one learner without ever hearing anything."""
    learner = create_learner(root, f"No Ears {len(list(root.glob('learners/*')))}")
    attacker = Attacker((root, temp))
    for _ in range(sittings):
        session = begin(root, learner)
        while not session.done:
            assert session.held.points and session.facts is None
            clues = attacker.clues()
            calls = attacker.calls(clues)
            session.call(Call())
            attacker.learn(clues, calls, session.answer().truth)
    return attacker


def fresh(total: int) -> Callable[[Path, object], Session]:
    """Sittings over all paths."""
    return lambda root, learner: practise(root, learner, ALL, "x", total)


def kept(drill: DrillSet) -> Callable[[Path, object], Session]:
    """Sittings over one set; the attacker remembers no round by its name, as on a first meeting."""
    return lambda root, learner: start(root, learner, drill)


def main() -> int:
    """Print the table."""
    from listen.lab.training.make_drill import MakeWish, make_drill

    with tempfile.TemporaryDirectory() as room:
        root, temp = Path(room) / "lab", Path(room) / "passing"
        temp.mkdir()
        tempfile.tempdir = str(temp)
        drill = make_drill("Two hundred", MakeWish(rounds=200, seconds=0.5, seed=11), root=root)
        for title, attacker, guess in (
            ("200 fresh rounds", attack(root, 10, fresh(20), temp), 1 / len(ALL)),
            ("a kept set of 200", attack(root, 1, kept(drill), temp), 1 / len(PATHS)),
        ):
            print(f"{title}: guessing gives {100 * guess:.1f} %")
            for way, rate in attacker.rates().items():
                print(f"  {way:<50} {rate.hits:>3} of {rate.of} ({100 * rate.low95:.0f} to {100 * rate.high95:.0f} %)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
