"""Many cases in one run: find them, check them, make them side by side, sum them up.

``find`` names the cases, ``work`` makes one of them (a pure function of its task), ``pool``
runs that in worker processes, ``ledger`` knows what was made from what, ``store`` puts whole
files in place, ``lock`` keeps a second run out of the folder, and ``run`` is the month's work
from end to end. ``summary``, ``cover``, ``bundle`` and ``printpack`` are made from its results.
"""
