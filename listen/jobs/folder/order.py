"""The order in which events of merged journals count: what was known comes first, else the earlier time.

Every line names the line before it by hash, so what its writer knew is fixed for good, however journals were merged
since. Events that did not know of each other are ordered by their times, then by hash: three machines that hold the
same events tell the same job, whatever the order in which they met.
"""

import heapq
from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from listen.jobs.events import Event, Merged, Past
from listen.jobs.folder.journal import Line


class _Graph:
    """Every line once, with the lines it directly follows."""

    def __init__(self) -> None:
        self.lines: dict[str, Line] = {}
        self.before: dict[str, list[str]] = {}
        self.follows: dict[str, list[str]] = {}

    def add(self, lines: Sequence[Line], after: str) -> str:
        """Lines of a journal or of a merged branch after the line ``after``; gives the hash of the last."""
        for line in lines:
            if line.hash not in self.lines:
                self._add(line, after)
            after = line.hash
        return after

    def _add(self, line: Line, after: str) -> None:
        payload = line.event.payload
        before = [after] if after in self.lines else []
        if isinstance(payload, Merged) and (last := self.add(line.inner, payload.fork)) in self.lines:
            before.append(last)
        self.lines[line.hash] = line
        self.before[line.hash] = before
        for one in before:
            self.follows.setdefault(one, []).append(line.hash)

    def parts_at(self, found: str) -> bool:
        """Whether journals parted after this line; a merge follows two lines and goes on with neither's run."""
        return sum(not isinstance(self.lines[h].event.payload, Merged) for h in self.follows.get(found, ())) > 1

    def ordered(self) -> Iterator[str]:
        """Hashes, each after all it follows; of those that may come, the earliest first."""
        waits: dict[str, int] = dict.fromkeys(self.lines, 0)
        for later in self.follows.values():
            for one in later:
                waits[one] += 1
        ready = [(self.lines[h].event.time, h) for h, n in waits.items() if not n]
        heapq.heapify(ready)
        while ready:
            _, found = heapq.heappop(ready)
            yield found
            for one in self.follows.get(found, ()):
                waits[one] -= 1
                if not waits[one]:
                    heapq.heappush(ready, (self.lines[one].event.time, one))


def ordered(lines: Sequence[Line]) -> Iterator[Event]:
    """Events of a journal and of all that merges brought in, in the order in which they count.

    Where nothing was merged that is the order of the lines. Else each event says which others its writer knew.
    """
    if not any(isinstance(line.event.payload, Merged) for line in lines):
        yield from (line.event for line in lines)
        return
    graph = _Graph()
    graph.add(lines, "")
    own = {line.hash for line in lines}
    pasts: dict[str, Past] = {}
    ended: set[str] = set()
    for found in graph.ordered():
        before = [pasts[one] for one in graph.before[found]]
        if len(before) == 1 and before[0].run not in ended:  # the run goes on
            pasts[found] = Past(before[0].knew, before[0].run, before[0].length + 1)
        else:
            pasts[found] = _new_run(found, before)
        if graph.parts_at(found):
            ended.add(pasts[found].run)
        yield replace(graph.lines[found].event, past=pasts[found], merged=found not in own)


def _new_run(first: str, before: Sequence[Past]) -> Past:
    knew: dict[str, int] = {}
    for past in before:
        for run, length in {**past.knew, past.run: past.length}.items():
            knew[run] = max(length, knew.get(run, 0))
    return Past(knew, first, 1)
