"""Orders of work for one easel with known lengths and due dates: the two rules that are proved best.

They know no chance. What an order is worth at a booth say the scenarios; see `sequence.py`.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence


def earliest_due(due_s: Sequence[float]) -> list[int]:
    """Which job comes when so that the greatest lateness is least; of equal ones the first stays first.

    Source     Jackson 1955, Scheduling a production line to minimize maximum tardiness

    >>> earliest_due([18, 9, 17])
    [1, 2, 0]
    """
    return sorted(range(len(due_s)), key=lambda job: due_s[job])


def fewest_late(takes_s: Sequence[float], due_s: Sequence[float], from_s: float = 0.0) -> tuple[list[int], list[int]]:
    """Which jobs are done by their due date, in their order, and which are given up for it, so that those are fewest.

    takes_s    how long each job takes, turnaround included
    from_s     when the first can be begun
    Returns    the jobs in time, earliest due first; and the late ones, in any order after them
    Source     Moore 1968, Management Science 15:102–109, in Hodgson's form: take jobs by due date, and whenever one
               would be late give up the longest so far

    >>> fewest_late([7, 8, 4, 6, 6], [9, 17, 18, 19, 21])
    ([2, 3, 4], [0, 1])
    """
    done_s, longest_first = from_s, list[tuple[float, int]]()
    for job in earliest_due(due_s):
        heapq.heappush(longest_first, (-takes_s[job], job))
        done_s += takes_s[job]
        if done_s > due_s[job]:
            given_up_s, _ = heapq.heappop(longest_first)
            done_s += given_up_s
    kept = {job for _, job in longest_first}
    by_due = earliest_due(due_s)
    return [job for job in by_due if job in kept], [job for job in by_due if job not in kept]
