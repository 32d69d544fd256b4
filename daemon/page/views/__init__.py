"""The views: from values to what stands on the page. Pure; one module each."""

from daemon.page.views.alarms import alarms
from daemon.page.views.away import away
from daemon.page.views.calibrate import calibrate
from daemon.page.views.crop import crop
from daemon.page.views.doses import doses
from daemon.page.views.forms import answered, asked_again
from daemon.page.views.measuring import measuring, pumps_to_measure
from daemon.page.views.mixing import mixing
from daemon.page.views.new_water import new_water
from daemon.page.views.now import now
from daemon.page.views.rig import rig
from daemon.page.views.settings import checked, settings
from daemon.page.views.trend import trend

__all__ = [
    "alarms",
    "answered",
    "asked_again",
    "away",
    "calibrate",
    "checked",
    "crop",
    "doses",
    "measuring",
    "mixing",
    "new_water",
    "now",
    "pumps_to_measure",
    "rig",
    "settings",
    "trend",
]
