"""From findings to a plan: products, rates, costs, order, budget, dates, verdicts.

``gather`` takes the needs of all findings, ``offers`` what can be bought; ``lime``, ``mix`` (a
linear programme, ``blend`` and ``solver``) and ``build`` make actions of them; ``rounding``,
``orders`` and ``windows`` make them practical; ``ranking`` and ``budget`` state the rules that
the advisory prints. No yield gain is assumed anywhere. ``verdicts`` says of every material on
offer whether it is needed: advised against is only what is judged and not needed.

A kind of action is a ``NeedKind``; it becomes an action in ``build`` (or in a module of its
own), and needs a step in ``ranking``, a window in ``windows``, cautions, and a follow-up in
``followups``.
"""
