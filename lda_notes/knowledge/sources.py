"""The bibliography: every named source that a limit or a rule may cite, and how sure we are of what it says."""

# ruff: noqa: E501 -- one source to a row, so that the table can be read and checked as a table

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, NamedTuple

Mark = Literal["R", "R2", "M-H", "M-M", "M-L", "D", "CP", "LP"]
"""How a fact is known; ``MARK_WORDS`` says each in words. ``LP`` is a value set by a local policy file."""

MARK_WORDS: Final[Mapping[Mark, str]] = MappingProxyType(
    {
        "R": "read in the issuer's own text",
        "R2": "as quoted by a copy",
        "M-H": "from memory, high confidence: to be confirmed",
        "M-M": "from memory, medium confidence: to be confirmed",
        "M-L": "from memory, low confidence: to be confirmed",
        "D": "derived, not published",
        "CP": "common practice, no source",
        "LP": "set by local policy",
    }
)
"""The words printed for each mark."""

MARKS_IN_BRIEF: Final[Mapping[Mark, str]] = MappingProxyType(
    {
        **MARK_WORDS,
        "M-H": "source to be confirmed, high confidence",
        "M-M": "source to be confirmed, medium confidence",
        "M-L": "source to be confirmed, low confidence",
    }
)
"""The words under a short list of sources, on a sheet that goes round a ward."""


class Source(NamedTuple):
    """One row of the bibliography.

    ``short`` is the name printed beside a value. ``at_hand`` is "text" if the issuer's own text was read, "copy" if
    only a copy or a quotation was, and "memory" if neither: no citation may claim more. ``address`` is where the text
    was read; it is empty for copies on file-sharing and sales sites.
    """

    key: str
    at_hand: str
    short: str
    title: str
    edition: str = ""
    address: str = ""


_TABLE: Final = """
key                    | at hand | short name | title | edition | address
common-practice        | -      | common practice | Common practice, no published source | |
local-policy           | -      | facility policy | The facility's own policy, as given in the local policy file | |

# Central-line guidelines
ahrq-ch42              | text   | AHRQ Patient Safety and Quality | Patient Safety and Quality: An Evidence-Based Handbook for Nurses, chapter 42 | AHRQ 2008 | http://www.ncbi.nlm.nih.gov/books/NBK2632/table/ch42.t3/
cdc-2002               | copy   | CDC catheter guideline 2002 | Guidelines for the Prevention of Intravascular Catheter-Related Infections | CDC 2002 |
cdc-2011               | memory | CDC catheter guideline 2011 | Guidelines for the Prevention of Intravascular Catheter-Related Infections | HICPAC 2011, updated 2017 | https://www.cdc.gov/infection-control/hcp/intravascular-catheter-related-infection
cdc-checklist          | text   | CDC line checklist | Checklist for Prevention of Central Line Associated Blood Stream Infections | CDC, as filed with a US information request | http://m.omb.report/icr/201501-0920-020/doc/53022101
cdc-2017               | text   | CDC dressing update 2017 | Updated Recommendations on the Use of Chlorhexidine-Impregnated Dressings | CDC 2017 | https://www.cdc.gov/infectioncontrol/guidelines/bsi/c-i-dressings/
shea-2022              | memory | SHEA 2022 | Buetti and others, Strategies to prevent central line-associated bloodstream infections | Infection Control and Hospital Epidemiology 2022 | https://doi.org/10.1017/ice.2022.87
ins-2016               | memory | INS Standards 2016 | Infusion Therapy Standards of Practice | INS 2016, 7th edition |
ins-2021               | memory | INS Standards 2021 | Infusion Therapy Standards of Practice | 8th edition, Journal of Infusion Nursing 44(1S) |
epic3                  | memory | epic3 | epic3: National Evidence-Based Guidelines for Preventing Infections | England 2014 |

# Port procedures of hospitals and teaching texts
royal-marsden          | text   | Royal Marsden Manual | The Royal Marsden Manual of Clinical Nursing Procedures, chapter 17 | online edition | https://rmmonline.co.uk/manual/c17-sec-0263
ayrshire-arran-adult   | text   | NHS Ayrshire and Arran G004 | Central venous access devices, adult guideline G004 | read in a staging copy of the NHS Scotland guideline site | https://tac-int-quris-app-dev-stg.azurewebsites.net/nhs-ayrshire-arran-guidelines/
ayrshire-arran-child   | text   | NHS Ayrshire and Arran G068 | Central venous access devices, pediatric guideline G068 | read in a staging copy of the NHS Scotland guideline site | https://tac-int-quris-app-dev-stg.azurewebsites.net/nhs-ayrshire-arran-guidelines/
royal-cornwall         | copy   | Royal Cornwall Hospitals | Central venous catheter management guidance, implanted-port sheet | Royal Cornwall Hospitals NHS Trust, about 2014 |
open-rn                | text   | Open RN Advanced Skills | Nursing Advanced Skills, 4.6 Checklist: Access an Implantable Port | Open RN, open textbook | https://wtcs.pressbooks.pub/nursingadvancedskills/chapter/4-6-checklist-access-an-implantable-port/
nova-scotia            | text   | Nova Scotia Health library | Vascular access: clinical practice page | Nova Scotia Health | https://library.nshealth.ca/Clinical-Practice-Nursing/Vascular-Access
us-hospital-2008       | copy   | US hospital policy 2008 | Interdisciplinary Clinical Practice Manual, vascular access devices IFC035, appendix L | US hospital, 2008 |
us-hospitals           | memory | US hospital policies | Practice met in several US hospital policies, none of them at hand | |
home-infusion          | copy   | US home infusion policy | Accessing via an Implanted Port | US home infusion policy |
home-care-25-04        | copy   | US home care procedure 25.04 | Home care procedure 25.04, central line occlusion | US home care agency |
port-procedures-page   | copy   | nursing procedures page | Nursing procedures reference, implanted port | citing Gorski 2021 |
paediatric-em          | copy   | pediatric emergency text | Port access in the pediatric emergency department | document 11457123 |
infusion-forum         | copy   | infusion nurses' forum | Threads on flushing accessed and idle ports, quoting standards and policies | professional forum | https://iv-therapy.net/topic/flushing-accessed-implanted-ports

# Occlusion and thrombolysis
ons                    | text   | Oncology Nursing Society | Clinical help: blood return and central venous access devices | ONS 2024 | https://clinicalhelp.ons.org/support/solutions/articles/151000163978
ins-patency            | copy   | INS definition of patency | Definition of a patent line in the INS Standards | as quoted on a thrombolytic maker's assessment page |
alteplase-label        | text   | alteplase 2 mg label | Alteplase 2 mg for catheter clearance: US label, as the maker's pages state it | maker's pages on dosing and safety | https://www.cathflo.com/safety.html
alteplase-dosing       | text   | alteplase maker's dosing page | Alteplase 2 mg catheter clearance: maker's page on preparation and dosing | maker's page | https://www.cathflo.com/dosing-administration/cathflo-preparation-dosing.html
alteplase-giving       | text   | alteplase maker's administration page | Alteplase 2 mg catheter clearance: maker's page on administration | maker's page | https://www.cathflo.com/dosing-administration/cathflo-administration.html
alteplase-smpc         | text   | alteplase 2 mg UK product summary | Alteplase 2 mg for catheter clearance: UK summary of product characteristics, section 4.2 | emc 4617 |

# Heparin, saline and other locks
heparin-lock-label     | copy   | heparin lock flush label | Heparin lock flush solution: US label | copies | https://globalrph.com/rx-list/hepflush-drug
heparin-lock-approval  | copy   | heparin lock approval | Heparin lock flush, approval document 17-037, supplement 158 | FDA |
heparin-injection-label| text   | heparin injection label | Heparin sodium injection: US label, warnings and precautions 5.1 | US label, section 5.1 | https://www.pfizermedicalinformation.com/heparin-inj-5/warnings
wu-2021                | copy   | Wu 2021 | Wu and others, saline against heparin locks and flushing intervals of idle ports | 2020 and 2021 | https://mi-hms.org/management-vascular-access-devices-references
valved-port-ifu        | copy   | valved port instructions | Port with a valved catheter: instructions for use | |
taurolidine-us         | copy   | taurolidine and heparin label | Taurolidine and heparin lock: US label | 2023 |
taurolidine-eu         | text   | taurolidine and citrate guide | Taurolidine, citrate 4% and heparin lock: NHS Highland guidance | NHS Highland | https://rightdecisions.scot.nhs.uk
polyurethane-page      | copy   | port maker's material page | Port maker's page: alcohol must not soak polyurethane catheters | |

# Antisepsis and anesthesia labels
chg-swab-label         | text   | chlorhexidine swab label | 2% chlorhexidine and 70% isopropyl alcohol swab: US over-the-counter label, directions | DailyMed 4de49446 | https://dailymed.nlm.nih.gov
chg-applicator-label   | memory | chlorhexidine applicator label | 2% chlorhexidine and 70% isopropyl alcohol applicators: US label | FDA approval label |
chg-dressing-ifu       | copy   | instructions of a chlorhexidine dressing | Chlorhexidine dressing for ports: one maker's instructions for use | |
msf-catalogue          | text   | MSF catalogue | Medical catalogue | MSF | https://unicat.msf.org/cat/product/79894
cream-label            | copy   | lidocaine-prilocaine cream label | Lidocaine 2.5% and prilocaine 2.5% cream: US label | copies |
lidocaine-4-label      | memory | lidocaine 4% cream label | Lidocaine 4% cream: label | |
vapocoolant-label      | memory | vapocoolant spray label | Vapocoolant skin spray: label and practice | |

# Needles, ports, power injection
iso-9626               | memory | ISO 9626 | Stainless steel needle tubing: requirements and test methods | ISO 9626:2016 |
iso-6009               | memory | ISO 6009 | Hypodermic needles for single use: colour coding | ISO 6009:2016 |
gauge-chart            | text   | needle gauge chart | Needle gauge comparison chart (Birmingham and Stubs gauges) | | http://en.wikipedia.org/wiki/Needle_gauge_comparison_chart
power-ifu              | copy   | power port instructions | Power-injectable implanted port: instructions for use | copies |
power-ifu-table        | copy   | power port table, one maker | Power-injectable port: table of rates by needle gauge | one maker |
power-ifu-pressure     | copy   | power port label, 300 psi | Power-injectable port: injector pressure limit | one maker |
fda-power-2004         | text   | FDA power injection notice | Ruptured vascular access devices during power injection | FDA 2004, 2005 | http://www.fda.gov/MedicalDevices/Safety/AlertsandNotices/TipsandArticlesonDeviceSafety/ucm070193.htm

# Allergies and vesicants
fda-chg-2017           | copy   | FDA chlorhexidine notice 2017 | Rare but serious allergic reactions with skin antiseptics containing chlorhexidine | FDA, 2017-02-02 |
fda-chg-1998           | copy   | FDA chlorhexidine notice 1998 | Chlorhexidine-impregnated devices | FDA 1998 |
aaaai-iodine           | memory | AAAAI and ACR on iodine | Contrast and shellfish reactions are not iodine allergy | |
latex-801-437          | memory | 21 CFR 801.437 | User labeling for devices that contain natural rubber | US regulation |
latex-ifu              | copy   | port instructions on latex | Implanted port: instructions for use, latex statement | |
vesicant-lists         | memory | lists of vesicants | Vesicants named alike by the US oncology and infusion nursing societies | |

# Complications
ins-phlebitis          | copy   | INS phlebitis scale | Phlebitis scale of the INS Standards 2011 | INS 2011, S47 | https://infusionnurse.org/2011/02/21/
ins-infiltration       | memory | INS infiltration scale | Infiltration scale of the INS Standards | |
vip-score              | memory | visual phlebitis score | Jackson, visual infusion phlebitis score | |
ctcae-5                | memory | CTCAE version 5 | Common Terminology Criteria for Adverse Events | NCI 2017 |
hinke-1990             | copy   | Hinke 1990 | Hinke and others, grades of catheter pinch-off | 1990, as reviewed | http://qims.amegroups.com/article/view/14878

# Surveillance
nhsn-4                 | memory | NHSN chapter 4 | NHSN Patient Safety Component Manual, chapter 4: Bloodstream Infection | CDC, current | https://www.cdc.gov/nhsn/pdfs/pscmanual/4psc_clabscurrent.pdf
nhsn-2                 | memory | NHSN chapter 2 | NHSN Patient Safety Component Manual, chapter 2: Identifying HAIs | CDC, current | https://www.cdc.gov/nhsn/pdfs/pscmanual/2psc_identifyinghais_nhsncurrent.pdf
nhsn-faq               | text   | NHSN questions on BSI | NHSN FAQs | CDC | https://www.cdc.gov/nhsn/faqs/faq-bsi.html
nhsn-slides            | copy   | CDC slides 2018 | NHSN training slides | CDC 2018 |
nhsn-table             | copy   | NHSN definitions, as tabled | Table of NHSN central-line definitions in BMJ Open Quality | | https://bmjopenquality.bmj.com/highwire/markup/141395/expansion
poa-worksheet          | copy   | state HAI worksheet | Hospital-acquired or present on admission | US state |
icmr                   | text   | ICMR chapter 10 | CLABSI definitions, chapter 10 | ICMR | https://amrtg.icmr.org.in/chapter10-clabsi-definitions.html

# Records, identification and handoff
jc-do-not-use          | text   | Joint Commission Do Not Use list | Facts about the official Do Not Use list of abbreviations | 2017, 2018 | https://www.jointcommission.org/facts_about_do_not_use_list/
ismp-2021              | text   | ISMP error-prone list | List of Error-Prone Abbreviations, Symbols, and Dose Designations | ISMP 2021 | https://www.ismp.org/recommendations/error-prone-abbreviations-list
npsg-01-01-01          | copy   | Joint Commission goal 01.01.01 | National Patient Safety Goal 01.01.01: two patient identifiers | Joint Commission | https://aornguidelines.org/joint-commission/program/46079/standard/46089/ep/543381
cfr-482-24             | memory | 42 CFR 482.24(c) | Condition of participation: medical record services | US regulation |
cms-pim-3325           | copy   | CMS Program Integrity Manual | Medicare Program Integrity Manual, chapter 3, 3.3.2.5: amendments, corrections, delayed entries | transmittal 442, 2013 | https://www.cgsmedicare.com/partb/pubs/news/2012/1212/cope20874.html
ahima-2012             | text   | AHIMA amendment toolkit | Amendments in the electronic health record: toolkit | AHIMA 2012 | http://journal.ahima.org/2012/08/29/
record-amendments      | copy   | amendment guide | Amendments in the electronic record | |
ihs-manual             | copy   | IHS manual 3-3 | Indian Health Manual, part 3, chapter 3: health information | IHS |
jc-sea-58              | memory | Joint Commission alert 58 | Sentinel Event Alert 58: inadequate hand-off | 2017 |

# Device identifiers
gs1-general            | memory | GS1 General Specifications | GS1 General Specifications | current | https://www.gs1.org
gs1-check-digit        | text   | GS1 check digit page | How to calculate a check digit manually | GS1 | https://www.gs1.org/how-calculate-check-digit-manually
fda-udi                | copy   | FDA UDI formats | UDI formats by FDA-accredited issuing agency | version 1.3, 2017-01-27 |
hibc-check-table       | copy   | mod 43 check table | Modulo 43 check characters, worked examples | |
"""


def _read(table: str) -> Mapping[str, Source]:
    rows = [row for row in table.strip().splitlines()[1:] if row and not row.startswith("#")]
    sources = [Source(*(cell.strip() for cell in row.split("|"))) for row in rows]
    return MappingProxyType({source.key: source for source in sources})


SOURCES: Final = _read(_TABLE)
"""The bibliography by key."""

_CLAIMS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {"copy": frozenset({"R"}), "memory": frozenset({"R", "R2"})}
)
"""Marks that a source may not be cited with, by what of it was at hand."""


@dataclass(frozen=True, slots=True)
class Citation:
    """A source, how sure we are of what it says, and the place in it. ``source`` is a key of ``SOURCES``.

    Raise KeyError for an unknown source and ValueError for a mark that claims more than was read: faults of the
    program.
    """

    source: str
    mark: Mark
    place: str = ""

    def __post_init__(self) -> None:
        if self.mark in _CLAIMS.get(SOURCES[self.source].at_hand, ()):
            raise ValueError(f"{self.source} was not read in its issuer's own text; {self.mark} claims too much")

    def text(self) -> str:
        """Return one short phrase for an output row: source, place, and the mark in words."""
        if self.mark == "CP":
            return MARK_WORDS["CP"]
        short = SOURCES[self.source].short
        where = f"{short}, {self.place}" if self.place else short
        return f"{where} [{MARK_WORDS[self.mark]}]"

    def brief(self) -> str:
        """Return the short name of the source with its mark, for a list where `MARK_WORDS` is printed once."""
        return f"{self.place if self.mark == 'LP' else SOURCES[self.source].short} ({self.mark})"


COMMON_PRACTICE: Final = Citation("common-practice", "CP")
"""The citation of a value that has no published source."""


def local(title: str, date: str) -> Citation:
    """Return the citation of a value that a facility's own policy sets, by the policy's own title and date."""
    return Citation("local-policy", "LP", f"{title}, {date}")
