"""Many cases in one run: find them, check them, make them side by side, sum them up.

``case_finder`` names the cases, ``work`` makes one of them (a pure function of its task),
``pool`` runs that in worker processes and ``cluster`` on other machines, ``ledger`` knows what
was made from what, ``output_folder`` puts whole files in place, ``lock`` keeps a second run out
of the folder, and ``run`` is the month's work from end to end. ``summary``, ``cover``, ``bundle``
and ``documents`` are made from its results. Faults, unchanged cases, cluster and its trust:
``MONTH.md`` in this folder.
"""
