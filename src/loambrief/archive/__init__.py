"""The store of issued advisories, and signatures. ``record`` decides what is kept.

What lies in the folder, and in which order an event is written, stands in ``store``; what a line
holds and how it commits to a card that can be erased, in ``log``.

Each step of an event is synced, and calls ``hook(step)``; tests kill the process or fill the
disk there (``tests/archive/test_faults.py``), and a new step needs its hook. Writers take turns
by ``flock`` on ``lock``; a number is given only inside ``Store.writing()``. Time comes from the
injected ``clock``; only log lines and withdrawal notices hold it.

A new event is a name in ``log.OPS``, its effect in ``index._take``, a function in ``record``, a
command in ``cli/archive_write.py``, and a case in ``EVENTS`` of the fault tests.

Signatures, facts and their threats: ``SIGNATURES.md`` in this folder. The threat model of the
whole program: ``record/THREATS.md``.
"""
