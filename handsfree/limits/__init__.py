"""Every judgement of the trade, computed, with its limit, margin and source. Pure: no clock, no files."""

from handsfree.limits._channel import Channel, End, Lean, ellipse, trace
from handsfree.limits._crown import CROWN_RULES, CrownRule, band_share, crown_half_width, crown_zones
from handsfree.limits._datecode import DateCode, age, parse_date_code, weeks_in_year
from handsfree.limits._designation import Designation, parse_designation
from handsfree.limits._dewpoint import dew_point, saturation_pressure_hpa, surface_margin
from handsfree.limits._disposition import Decision, Disposition, dispose, second_opinion
from handsfree.limits._drying import drying_times
from handsfree.limits._inflation import pressure_to_set, seating_stops
from handsfree.limits._leak import Loss, leak_loss, pressure_at
from handsfree.limits._load import LOAD_INDEX_KG, SPEED_KMH, load_index, load_index_estimate, speed_symbol
from handsfree.limits._measurands import MEASURANDS, Measurand, plausible
from handsfree.limits._pages import as_json, explain, rules_page, table
from handsfree.limits._policy import BASES, DEFAULT, Override, Policy, named_policy
from handsfree.limits._policy_file import parse_policy, parse_quantity
from handsfree.limits._refit import star_sequence, torque_stages
from handsfree.limits._registry import answer, count, judge, rule, rules, window
from handsfree.limits._rule import Limit, Rule, Sense, exact, spoken
from handsfree.limits._spacing import Pair, Site, Spacing, arc, spacing
from handsfree.limits._tools import surface_speed
from handsfree.limits._tread import TreadReport, tread_report
from handsfree.limits._types import Count, Facts, LimitsError, MissingFact, Outcome, Severity, Verdict, Window
from handsfree.limits._unit import UnitKind, UnitSize, size_unit, unit_kind

__all__ = [
    "BASES",
    "CROWN_RULES",
    "DEFAULT",
    "LOAD_INDEX_KG",
    "MEASURANDS",
    "SPEED_KMH",
    "Channel",
    "Count",
    "CrownRule",
    "DateCode",
    "Decision",
    "Designation",
    "Disposition",
    "End",
    "Facts",
    "Lean",
    "Limit",
    "LimitsError",
    "Loss",
    "Measurand",
    "MissingFact",
    "Outcome",
    "Override",
    "Pair",
    "Policy",
    "Rule",
    "Sense",
    "Severity",
    "Site",
    "Spacing",
    "TreadReport",
    "UnitKind",
    "UnitSize",
    "Verdict",
    "Window",
    "age",
    "answer",
    "arc",
    "as_json",
    "band_share",
    "count",
    "crown_half_width",
    "crown_zones",
    "dew_point",
    "dispose",
    "drying_times",
    "ellipse",
    "exact",
    "explain",
    "judge",
    "leak_loss",
    "load_index",
    "load_index_estimate",
    "named_policy",
    "parse_date_code",
    "parse_designation",
    "parse_policy",
    "parse_quantity",
    "plausible",
    "pressure_at",
    "pressure_to_set",
    "rule",
    "rules",
    "rules_page",
    "saturation_pressure_hpa",
    "seating_stops",
    "second_opinion",
    "size_unit",
    "spacing",
    "speed_symbol",
    "spoken",
    "star_sequence",
    "surface_margin",
    "surface_speed",
    "table",
    "torque_stages",
    "trace",
    "tread_report",
    "unit_kind",
    "weeks_in_year",
    "window",
]
