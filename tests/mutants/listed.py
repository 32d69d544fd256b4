"""The whole list."""

from __future__ import annotations

from tests.mutants.box import BOX
from tests.mutants.crop import CROP
from tests.mutants.doses import DOSES
from tests.mutants.effects import EFFECTS
from tests.mutants.feeding import FEEDING
from tests.mutants.leaving import LEAVING
from tests.mutants.looks import LOOKS
from tests.mutants.measuring import MEASURING
from tests.mutants.mixing import MIXING
from tests.mutants.page import PAGE
from tests.mutants.program import PROGRAM
from tests.mutants.pumps import PUMPS
from tests.mutants.rates import RATES

MUTANTS = (
    *DOSES,
    *EFFECTS,
    *FEEDING,
    *MEASURING,
    *PUMPS,
    *RATES,
    *PROGRAM,
    *BOX,
    *CROP,
    *LOOKS,
    *LEAVING,
    *MIXING,
    *PAGE,
)
