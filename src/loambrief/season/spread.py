"""Distributions of soil tests: by client and year, never over two methods."""

import numpy as np
import pandas as pd

MEASURES = ("ph", "phosphorus", "potassium", "ec", "organic_matter")
"""pH, P, K, salt and organic matter: what the report shows."""
QUARTERS = (0.0, 0.25, 0.5, 0.75, 1.0)
COLUMNS = ("lowest", "lower_quarter", "median", "upper_quarter", "highest")


def tilled(results: pd.DataFrame) -> pd.DataFrame:
    """Soil results of the layer that stands for the tilled one, of the measures shown.

    A sample of one zone and day gives one value for each measure.
    """
    soil = results[(results["kind"] == "soil") & results["main"]
                   & results["quantity"].isin(MEASURES)].copy()
    soil["method"] = soil["method"].astype(object).fillna("")
    soil["quantity"] = soil["quantity"].astype(str)
    return soil


def distributions(results: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """One row for each measure, method and group, with the count of samples.

    Quarters by linear interpolation between the ordered values (numpy's and pandas' default:
    definition 7 of hyndman-fan-1996, from memory, unverified). A laboratory's limit stands for
    what lies below or above it.

    Returns
    -------
    DataFrame
        ``quantity``, ``method``, ``unit``, the columns of ``by``, ``samples``, ``limits`` (how
        many are a laboratory's limit in place of a value), ``below`` (the highest limit that
        values lie under, or NaN: a number no higher than it is itself only a limit) and
        :data:`COLUMNS`.
    """
    keys = ["quantity", "method", "unit", *by]
    if results.empty:
        return pd.DataFrame(columns=[*keys, "samples", "limits", "below", *COLUMNS])
    grouped = results.groupby(keys, observed=True, sort=True)
    made = grouped["value"].quantile(np.array(QUARTERS)).unstack()
    made.columns = pd.Index(COLUMNS)
    made.insert(0, "samples", grouped.size())
    made.insert(1, "limits", grouped["censor"].count())
    below = results[results["censor"].astype(object) == "<"]
    made.insert(2, "below", below.groupby(keys, observed=True)["value"].max())
    return made.reset_index()
