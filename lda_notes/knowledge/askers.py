"""Who asks that a fact be recorded: the documents that declarations of facts name."""

from __future__ import annotations

from typing import Final

from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation

INS: Final = Citation("ins-2021", "M-H", "documentation in the health record")
CDC: Final = Citation("cdc-2002", "R2", "documentation, category II")
OPEN_RN: Final = Citation("open-rn", "R")
HOME: Final = Citation("home-infusion", "R2")
CORNWALL: Final = Citation("royal-cornwall", "R2")
ONS: Final = Citation("ons", "R")
GOAL: Final = Citation("npsg-01-01-01", "R2", "EP 1")
CMS: Final = Citation("cms-pim-3325", "R2")
COP: Final = Citation("cfr-482-24", "M-H", "paragraph 1")
LABEL: Final = Citation("alteplase-label", "D", "facts that its doses rest on")
AYRSHIRE: Final = Citation("ayrshire-arran-adult", "R")
US_HOSPITAL: Final = Citation("us-hospital-2008", "R2", "app. L")
MARSDEN: Final = Citation("royal-marsden", "R", "ch. 17")
POWER: Final = Citation("power-ifu", "D", "what its limits need to be checked")
AHIMA: Final = Citation("ahima-2012", "R")
REVISION: Final = Citation("record-amendments", "R2")
NHSN: Final = Citation("nhsn-4", "M-H")
CP: Final = COMMON_PRACTICE
