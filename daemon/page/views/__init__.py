"""The views: from values to what stands on the page. Pure; one module each."""

from daemon.page.views.alarms import alarms
from daemon.page.views.doses import doses
from daemon.page.views.forms import answered
from daemon.page.views.now import now
from daemon.page.views.trend import SPANS, Stretch, trend

__all__ = ["SPANS", "Stretch", "alarms", "answered", "doses", "now", "trend"]
