"""Names of the chart specs as the report uses them; the kinds are in ``loambrief.charts``."""

from loambrief.charts import ChartSpec, Threshold, has_data, is_number
from loambrief.charts import ChartWords as Words
from loambrief.charts.budget import BudgetSpec, CostStep
from loambrief.charts.carbon_nitrogen import CarbonNitrogenSpec, RatioRow
from loambrief.charts.cations import CationBar, CationSpec, Share
from loambrief.charts.compare import CompareColumn, CompareSpec
from loambrief.charts.layers import LayerMeasure as Measure
from loambrief.charts.layers import LayerSpec, Slab
from loambrief.charts.penetration import PenetrationSpec, Profile
from loambrief.charts.salinity import SalinityPoint, SalinitySpec
from loambrief.charts.sap import SapRow, SapSpec
from loambrief.charts.season import SeasonBar, SeasonMark, SeasonSpec
from loambrief.charts.sketch_map import MapArea, MapSpec
from loambrief.charts.sufficiency import LevelSide as Side
from loambrief.charts.sufficiency import SufficiencyRow, SufficiencySpec
from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.charts.trend import TrendPanel, TrendPoint, TrendSpec
from loambrief.charts.weeds import Hint, WeedMark, WeedSpec
from loambrief.charts.weeds import HintVerdict as Verdict

__all__ = [
    "BudgetSpec", "CarbonNitrogenSpec", "CationBar", "CationSpec", "ChartSpec", "CompareColumn",
    "CompareSpec", "CostStep", "Hint", "LayerSpec", "MapArea", "MapSpec", "Measure",
    "PenetrationSpec", "Profile", "RatioRow", "SalinityPoint", "SalinitySpec", "SapRow", "SapSpec",
    "SeasonBar", "SeasonMark", "SeasonSpec", "Share", "Side", "Slab", "SufficiencyRow",
    "SufficiencySpec", "TallyRow", "TallySpec", "Threshold", "TrendPanel", "TrendPoint",
    "TrendSpec", "Verdict", "WeedMark", "WeedSpec", "Words", "has_data", "is_number",
]
