"""The store of issued advisories, and signatures. ``record`` decides what is kept.

A folder (``store``) holds objects by the SHA-256 of their content (PDFs, data, frozen inputs,
cards), ``log.jsonl`` with one canonical JSON line (RFC 8785) an event, each naming the digest of
the one before, and ``index.sqlite`` (WAL, FTS5), which ``archive rebuild`` makes from the two.

A log line holds sequence number, time, kind of event, advisory number, a random name of the
client, and the digest of a *card*: an object with random salt that holds who and what, and the
digests of the event's files. So a line commits to a card without revealing it, and the card
can be erased while the chain still verifies.

Each step of an event is synced, and calls ``hook(step)``; tests kill the process or fill the
disk there (``tests/archive/test_faults.py``), and a new step needs its hook. ``Store.open``
finishes or undoes what was interrupted: a torn last line is cut, the index takes in what it
lacks, objects that no card uses and the note names are removed. Writers take turns by
``flock`` on ``lock``; a number is given only inside ``Store.writing()``. Time comes from the
injected ``clock``; only log lines and withdrawal notices hold it.

A new event is a name in ``log.OPS``, its effect in ``index._take``, a function in ``record``, a
command in ``cli/archive_write.py``, and a case in ``EVENTS`` of the fault tests.

Signatures, facts and their threats: ``SIGNATURES.md`` in this folder. The threat model of the
whole program: ``record/THREATS.md``.
"""
