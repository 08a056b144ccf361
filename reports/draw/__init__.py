"""Charts as native vectors: flowables that draw the view dataclasses, nothing computed."""

from reports.draw.control import ControlChart
from reports.draw.funnel import FunnelChart
from reports.draw.grades import GradeChart
from reports.draw.marks import StateWord, draw_mark

__all__ = ["ControlChart", "FunnelChart", "GradeChart", "StateWord", "draw_mark"]
