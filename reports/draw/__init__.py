"""Charts as native vectors: flowables that draw the view dataclasses, nothing computed."""

from reports.draw.control import ControlChart
from reports.draw.funnel import FunnelChart
from reports.draw.grades import GradeChart
from reports.draw.marks import StateWord, draw_mark
from reports.draw.scores import ScoreChart

__all__ = ["ControlChart", "FunnelChart", "GradeChart", "ScoreChart", "StateWord", "draw_mark"]
