"""What the formulas of all topics share: registration, guides, crops, intervals, self test.

A formula is a plain function on plain numbers, registered once (``registry``)::

    @formula(unit="%", source="reference-key", locator="equation 3", how="seen",
             valid={"adf_pct": (20, 50)})
    def relative_something(adf_pct: Percent) -> float:
        '''One sentence.

        Parameters / Returns / Raises / Notes, numpydoc, units in square brackets.
        '''

The decorator gives the answer's unit, source and published range, and the kind of a parameter
(``possible``) what it refuses, read as text (the module needs ``annotations`` from
``__future__``); the docstring has ``Returns`` and ``Raises`` only for more than that, and names
further sources at the end of its notes.

``how`` is ``seen`` (in its published text), ``computed``, ``memory`` (from memory, unverified)
or ``convention``. Outside ``valid`` the value is returned and flagged; what cannot be raises
``ImpossibleInput``. A formula returns ``Answer`` if its number needs notes, named details or
another table's source. The trace, the appendix, ``calc`` and ``sources`` read all of this.

Numbers are floats in house units and names end in the unit: ``ph``, ``_ppm``, ``_meq`` (per
100 g), ``_pct``, ``_ds_m``, ``_psi``, ``_in``, ``_ac``, ``_lb_ac``. Depths are in inches, areas
in acres, lime in short tons per acre of pure, fine calcium carbonate, nutrients in lb/ac of
P2O5 and K2O. Quantities are converted once, in ``case``; the report converts back for the
reader. SI or US is a property of the reader, not of the calculation.

A guide (sufficiency levels and rates of a region) is a TOML file in ``tables/nutrients/guides``.
A user's own guide is a YAML file of the same structure, validated like a case.
"""
