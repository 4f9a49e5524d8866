"""The bibliography: every named source a limit or a rule may cite, and how sure we are of what it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

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


@dataclass(frozen=True, slots=True)
class Source:
    """One row of the bibliography.

    ``short`` is the name printed beside a value. ``address`` is where the text was read, or, for a
    quoted text, where the copy stands; it is empty when no address is known to us.
    """

    key: str
    short: str
    title: str
    edition: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True)
class Citation:
    """A source, how sure we are of what it says, and the place in it. ``source`` is a key of ``SOURCES``."""

    source: str
    mark: Mark
    place: str = ""

    def text(self) -> str:
        """One short phrase for an output row: source, place, and the mark in words.

        Raises KeyError if ``source`` is not in ``SOURCES``: a fault of the program, not of the user's data.
        """
        short = SOURCES[self.source].short
        if self.mark == "CP":
            return MARK_WORDS["CP"]
        where = f"{short}, {self.place}" if self.place else short
        return f"{where} [{MARK_WORDS[self.mark]}]"

    def brief(self) -> str:
        """Return the short name of the source with its mark, for a list where `MARK_WORDS` is printed once."""
        return f"{self.place if self.mark == 'LP' else SOURCES[self.source].short} ({self.mark})"


COMMON_PRACTICE: Final = Citation("common-practice", "CP")
"""The citation of a value that has no published source."""


def local(title: str, date: str) -> Citation:
    """The citation of a value that a facility's own policy sets, by the policy's own title and date."""
    return Citation("local-policy", "LP", f"{title}, {date}")


_ROWS: Final[tuple[Source, ...]] = (
    # Not published
    Source("common-practice", "common practice", "Common practice, no published source"),
    Source("local-policy", "facility policy", "The facility's own policy, as given in the local policy file"),
    # Central-line guidelines
    Source(
        "ahrq-ch42",
        "AHRQ Patient Safety and Quality",
        "Patient Safety and Quality: An Evidence-Based Handbook for Nurses, chapter 42",
        "AHRQ 2008",
        "http://www.ncbi.nlm.nih.gov/books/NBK2632/table/ch42.t3/",
    ),
    Source(
        "cdc-2002",
        "CDC catheter guideline 2002",
        "Guidelines for the Prevention of Intravascular Catheter-Related Infections",
        "CDC 2002",
        "https://studylib.net/doc/5823172/",
    ),
    Source(
        "cdc-2011",
        "CDC catheter guideline 2011",
        "Guidelines for the Prevention of Intravascular Catheter-Related Infections",
        "HICPAC 2011, updated 2017",
        "https://www.cdc.gov/infection-control/hcp/intravascular-catheter-related-infection",
    ),
    Source(
        "cdc-checklist",
        "CDC line checklist",
        "Checklist for Prevention of Central Line Associated Blood Stream Infections",
        "CDC, copy in a US public information request",
        "http://m.omb.report/icr/201501-0920-020/doc/53022101",
    ),
    Source(
        "cdc-2017",
        "CDC dressing update 2017",
        "Updated Recommendations on the Use of Chlorhexidine-Impregnated Dressings",
        "CDC 2017",
        "https://www.cdc.gov/infectioncontrol/guidelines/bsi/c-i-dressings/",
    ),
    Source(
        "shea-2022",
        "SHEA 2022",
        "Buetti and others, Strategies to prevent central line-associated bloodstream infections",
        "Infection Control and Hospital Epidemiology 2022",
        "https://doi.org/10.1017/ice.2022.87",
    ),
    Source("ins-2011", "INS Standards 2011", "Infusion Nursing Standards of Practice", "INS 2011"),
    Source("ins-2016", "INS Standards 2016", "Infusion Therapy Standards of Practice", "INS 2016, 7th edition"),
    Source(
        "ins-2021",
        "INS Standards 2021",
        "Infusion Therapy Standards of Practice",
        "8th edition, Journal of Infusion Nursing 44(1S)",
    ),
    Source(
        "ins-2024",
        "INS Standards 2024",
        "Infusion Therapy Standards of Practice",
        "9th edition, Journal of Infusion Nursing 47(1S)",
    ),
    Source(
        "epic3",
        "epic3",
        "epic3: National Evidence-Based Guidelines for Preventing Infections",
        "England 2014",
    ),
    Source("nice-cg139", "NICE CG139", "Healthcare-associated infections: prevention and control", "NICE CG139"),
    Source("idsa-2009", "IDSA 2009", "Management of Intravascular Catheter-Related Infection", "IDSA 2009"),
    Source("who-2024", "WHO 2024", "Guidelines on bloodstream infections and catheters, part I", "WHO 2024"),
    Source(
        "cochrane-cd009213",
        "Cochrane CD009213",
        "Gavin and others, Frequency of dressing changes for central venous access devices",
        "Cochrane 2016",
        "https://www.ncbi.nlm.nih.gov/pmc/articles/PMC8765739/",
    ),
    # Port procedures of hospitals and teaching texts
    Source(
        "royal-marsden",
        "Royal Marsden Manual",
        "The Royal Marsden Manual of Clinical Nursing Procedures, chapter 17",
        "online edition",
        "https://rmmonline.co.uk/manual/c17-sec-0263",
    ),
    Source(
        "ayrshire-arran-adult",
        "NHS Ayrshire and Arran G004",
        "Central venous access devices, adult guideline G004",
        "NHS Ayrshire and Arran; read in a staging copy of the NHS Scotland guideline site",
    ),
    Source(
        "ayrshire-arran-child",
        "NHS Ayrshire and Arran G068",
        "Central venous access devices, paediatric guideline G068",
        "NHS Ayrshire and Arran; read in a staging copy of the NHS Scotland guideline site",
    ),
    Source(
        "royal-cornwall",
        "Royal Cornwall Hospitals",
        "Central venous catheter management guidance, implanted-port sheet",
        "Royal Cornwall Hospitals NHS Trust, about 2014",
    ),
    Source(
        "open-rn",
        "Open RN Advanced Skills",
        "Nursing Advanced Skills, 4.6 Checklist: Access an Implantable Port",
        "Open RN, open textbook",
        "https://wtcs.pressbooks.pub/nursingadvancedskills/chapter/4-6-checklist-access-an-implantable-port/",
    ),
    Source(
        "nova-scotia",
        "Nova Scotia Health library",
        "Vascular access: clinical practice page",
        "Nova Scotia Health",
        "https://library.nshealth.ca/Clinical-Practice-Nursing/Vascular-Access",
    ),
    Source(
        "us-hospital-2008",
        "US hospital policy 2008",
        "Interdisciplinary Clinical Practice Manual, vascular access devices IFC035, appendix L",
        "US hospital, 2008",
        "https://studylib.net/doc/18335157/",
    ),
    Source(
        "us-hospitals",
        "US hospital policies",
        "Practice met in several US hospital policies, none of them at hand",
    ),
    Source(
        "home-infusion",
        "US home infusion policy",
        "Accessing via an Implanted Port",
        "US home infusion policy",
        "https://docslib.org/doc/7867081/",
    ),
    Source(
        "home-care-25-04",
        "US home care procedure 25.04",
        "Home care procedure 25.04, central line occlusion",
        "US home care agency, copy",
    ),
    Source(
        "queens-module",
        "Queen's University module",
        "Central venous access devices, teaching module",
        "Queen's University",
    ),
    Source(
        "skills-textbook",
        "nursing skills textbook",
        "Clinical nursing skills textbook, de-accessing an implanted port, page 351",
        "copy",
    ),
    Source(
        "port-procedures-page",
        "nursing procedures page",
        "Nursing procedures reference, implanted port",
        "copy, citing Gorski 2021",
    ),
    Source(
        "paediatric-em",
        "paediatric emergency text",
        "Port access in the paediatric emergency department",
        "copy, document 11457123",
    ),
    Source(
        "infusion-forum",
        "infusion nurses' forum",
        "Threads on flushing accessed and idle ports, quoting standards and policies",
        "professional forum",
        "https://iv-therapy.net/topic/flushing-accessed-implanted-ports",
    ),
    Source(
        "antisepsis-forum",
        "infusion nurses' forum",
        "Thread on skin preparation, quoting the CDC guideline 2011",
        "professional forum",
        "https://iv-therapy.net/topic/iv-skin-prep",
    ),
    # Occlusion and thrombolysis
    Source(
        "ons",
        "Oncology Nursing Society",
        "Clinical help: blood return and central venous access devices",
        "ONS 2024",
        "https://clinicalhelp.ons.org/support/solutions/articles/151000163978",
    ),
    Source(
        "ins-patency",
        "INS definition of patency",
        "Definition of a patent line in the INS Standards",
        "as quoted on a thrombolytic maker's assessment page",
    ),
    Source(
        "alteplase-label",
        "alteplase 2 mg label",
        "Alteplase 2 mg for catheter clearance: US prescribing information",
    ),
    Source(
        "alteplase-dosing",
        "alteplase maker's dosing page",
        "Alteplase 2 mg catheter clearance: maker's dosing page",
    ),
    Source(
        "alteplase-smpc",
        "alteplase 2 mg UK product summary",
        "Alteplase 2 mg for catheter clearance: UK summary of product characteristics",
        "emc 4617",
    ),
    Source(
        "clots-2020",
        "explanted ports study 2020",
        "Clots in chambers and at tips of 434 explanted ports",
        "Medicine 2020",
        "https://www.ncbi.nlm.nih.gov/pmc/articles/PMC6946320/",
    ),
    # Heparin, saline and other locks
    Source(
        "heparin-lock-label",
        "heparin lock flush label",
        "Heparin lock flush solution: US label",
        "copies",
        "https://globalrph.com/rx-list/hepflush-drug",
    ),
    Source(
        "heparin-lock-approval",
        "heparin lock approval",
        "Heparin lock flush, approval document 17-037, supplement 158",
        "FDA",
    ),
    Source(
        "heparin-injection-label",
        "heparin injection label",
        "Heparin sodium injection: US label, warnings and precautions 5.1",
    ),
    Source(
        "wu-2021",
        "Wu 2021",
        "Wu and others, saline against heparin locks and flushing intervals of idle ports",
        "2020 and 2021",
        "https://mi-hms.org/management-vascular-access-devices-references",
    ),
    Source(
        "zhang-2021",
        "Zhang 2021",
        "Zhang and others, flushing interval of idle ports in 563 patients",
        "2021",
        "https://m.fx361.cc/news/2021/0910/19474541.html",
    ),
    Source(
        "diaz-2017",
        "Diaz 2017",
        "Diaz and others, three-monthly flushing of ports",
        "J Oncol Pract 2017, e22",
    ),
    Source(
        "valved-port-ifu",
        "valved port instructions",
        "Port with a valved catheter: instructions for use",
        "copy",
    ),
    Source(
        "taurolidine-us",
        "taurolidine and heparin label",
        "Taurolidine and heparin lock: US label",
        "2023, copy",
    ),
    Source(
        "taurolidine-eu",
        "taurolidine and citrate guide",
        "Taurolidine, citrate 4% and heparin lock: NHS Highland guidance",
        "NHS Highland",
    ),
    Source(
        "fda-citrate",
        "FDA citrate warning 2000",
        "Warning on 46.7% citrate as a catheter lock",
        "FDA, April 2000",
    ),
    Source(
        "polyurethane-page",
        "port maker's material page",
        "Port maker's page: alcohol must not soak polyurethane catheters",
    ),
    # Antisepsis and anesthesia labels
    Source(
        "chg-swab-label",
        "chlorhexidine swab label",
        "2% chlorhexidine and 70% isopropyl alcohol swab: US over-the-counter label",
        "DailyMed 4de49446",
    ),
    Source(
        "chg-applicator-label",
        "chlorhexidine applicator label",
        "2% chlorhexidine and 70% isopropyl alcohol applicators: US label",
        "FDA approval label",
    ),
    Source(
        "msf-catalogue",
        "MSF catalogue",
        "Medical catalogue",
        "MSF",
        "https://unicat.msf.org/cat/product/79894",
    ),
    Source(
        "cream-label",
        "lidocaine-prilocaine cream label",
        "Lidocaine 2.5% and prilocaine 2.5% cream: US label",
        "copies",
    ),
    Source("lidocaine-4-label", "lidocaine 4% cream label", "Lidocaine 4% cream: label"),
    Source("vapocoolant-label", "vapocoolant spray label", "Vapocoolant skin spray: label and practice"),
    # Needles, ports, power injection
    Source(
        "iso-9626",
        "ISO 9626",
        "Stainless steel needle tubing: requirements and test methods",
        "ISO 9626:2016",
    ),
    Source(
        "iso-6009",
        "ISO 6009",
        "Hypodermic needles for single use: colour coding",
        "ISO 6009:2016",
        "https://standards.iteh.ai",
    ),
    Source(
        "gauge-chart",
        "needle gauge chart",
        "Needle gauge comparison chart (Birmingham and Stubs gauges)",
        "",
        "http://en.wikipedia.org/wiki/Needle_gauge_comparison_chart",
    ),
    Source(
        "power-ifu",
        "power port instructions",
        "Power-injectable implanted port: instructions for use",
        "copies",
    ),
    Source(
        "power-ifu-table",
        "power port table, one maker",
        "Power-injectable port: table of rates by needle gauge",
        "one maker, copy 57897800",
    ),
    Source(
        "power-ifu-pressure",
        "power port label, 300 psi",
        "Power-injectable port: injector pressure limit",
        "one maker, copy 2058235",
    ),
    Source(
        "fda-power-2004",
        "FDA power injection notice",
        "Ruptured vascular access devices during power injection",
        "FDA 2004, 2005",
        "http://www.fda.gov/MedicalDevices/Safety/AlertsandNotices/TipsandArticlesonDeviceSafety/ucm070193.htm",
    ),
    Source(
        "septum-entry",
        "septum life entry",
        "Implanted ports: septum life",
        "UMD entry",
        "https://research.tib.eu",
    ),
    Source("guiffant-2012", "Guiffant 2012", "Guiffant and others, bevel orientation and port clearance", "2012"),
    # Allergies
    Source(
        "fda-chg-2017",
        "FDA chlorhexidine notice 2017",
        "Rare but serious allergic reactions with skin antiseptics containing chlorhexidine",
        "FDA, 2017-02-02, copies",
    ),
    Source("fda-chg-1998", "FDA chlorhexidine notice 1998", "Chlorhexidine-impregnated devices", "FDA 1998, copy"),
    Source("aaaai-iodine", "AAAAI and ACR on iodine", "Contrast and shellfish reactions are not iodine allergy"),
    Source(
        "latex-801-437",
        "21 CFR 801.437",
        "User labeling for devices that contain natural rubber",
        "US regulation",
    ),
    Source(
        "latex-ifu",
        "port instructions on latex",
        "Implanted port: instructions for use, latex statement",
        "copy",
    ),
    # Complications
    Source(
        "ins-phlebitis",
        "INS phlebitis scale",
        "Phlebitis scale of the INS Standards 2011",
        "INS 2011, S47",
        "https://infusionnurse.org/2011/02/21/",
    ),
    Source("ins-infiltration", "INS infiltration scale", "Infiltration scale of the INS Standards"),
    Source("vip-score", "visual phlebitis score", "Jackson, visual infusion phlebitis score"),
    Source("ctcae-5", "CTCAE version 5", "Common Terminology Criteria for Adverse Events", "NCI 2017"),
    Source(
        "hinke-1990",
        "Hinke 1990",
        "Hinke and others, grades of catheter pinch-off",
        "1990, as reviewed",
        "http://qims.amegroups.com/article/view/14878",
    ),
    # Surveillance
    Source(
        "nhsn-4",
        "NHSN chapter 4",
        "NHSN Patient Safety Component Manual, chapter 4: Bloodstream Infection",
        "CDC, current",
        "https://www.cdc.gov/nhsn/pdfs/pscmanual/4psc_clabscurrent.pdf",
    ),
    Source(
        "nhsn-2",
        "NHSN chapter 2",
        "NHSN Patient Safety Component Manual, chapter 2: Identifying HAIs",
        "CDC, current",
        "https://www.cdc.gov/nhsn/pdfs/pscmanual/2psc_identifyinghais_nhsncurrent.pdf",
    ),
    Source("nhsn-faq", "NHSN questions on BSI", "NHSN FAQs", "CDC", "https://www.cdc.gov/nhsn/faqs/faq-bsi.html"),
    Source(
        "nhsn-2014",
        "NHSN text 2014",
        "NHSN bloodstream infection event, older text",
        "CDC 2014, 2015",
        "https://omb.report/icr/201407-0920-007/doc/50165501",
    ),
    Source(
        "nhsn-57-116",
        "CDC form 57.116",
        "Denominators for NICU: instructions",
        "CDC",
        "https://omb.report/icr/202310-0920-013/doc/136658601",
    ),
    Source("nhsn-57-117", "CDC form 57.117", "Denominators for Specialty Care Area/Oncology: instructions", "CDC"),
    Source(
        "nhsn-validation",
        "NHSN validation toolkit",
        "NHSN validation toolkit, appendix 2.4",
        "CDC 2016, copy",
    ),
    Source("nhsn-slides", "CDC slides 2018", "NHSN training slides", "CDC 2018, copy 393869781"),
    Source(
        "nhsn-table",
        "NHSN definitions, as tabled",
        "Table of NHSN central-line definitions in BMJ Open Quality",
        "copy",
        "https://bmjopenquality.bmj.com/highwire/markup/141395/expansion",
    ),
    Source(
        "count-within-5",
        "electronic line counts",
        "Electronic against manual device counts",
        "authorea 186400",
    ),
    Source("poa-worksheet", "state HAI worksheet", "Hospital-acquired or present on admission", "US state, copy"),
    Source(
        "icmr",
        "ICMR chapter 10",
        "CLABSI definitions, chapter 10",
        "ICMR",
        "https://amrtg.icmr.org.in/chapter10-clabsi-definitions.html",
    ),
    Source(
        "england-icu",
        "England ICU surveillance",
        "ICU data capture system: questions and answers",
        "Public Health England",
        "https://icudcs.phe.org.uk",
    ),
    # Records and identification
    Source(
        "jc-do-not-use",
        "Joint Commission Do Not Use list",
        "Facts about the official Do Not Use list of abbreviations",
        "2017, 2018",
        "https://www.jointcommission.org/facts_about_do_not_use_list/",
    ),
    Source(
        "ismp-2021",
        "ISMP error-prone list",
        "List of Error-Prone Abbreviations, Symbols, and Dose Designations",
        "ISMP 2021",
        "https://www.ismp.org/recommendations/error-prone-abbreviations-list",
    ),
    Source(
        "npsg-01-01-01",
        "Joint Commission goal 01.01.01",
        "National Patient Safety Goal 01.01.01: two patient identifiers",
        "Joint Commission, copy",
        "https://aornguidelines.org/joint-commission/program/46079/standard/46089/ep/543381",
    ),
    Source(
        "cfr-482-24",
        "42 CFR 482.24(c)",
        "Condition of participation: medical record services",
        "US regulation",
    ),
    Source(
        "cms-pim-3325",
        "CMS Program Integrity Manual",
        "Medicare Program Integrity Manual, chapter 3, 3.3.2.5: amendments, corrections, delayed entries",
        "transmittal 442, 2013",
        "https://www.cgsmedicare.com/partb/pubs/news/2012/1212/cope20874.html",
    ),
    Source(
        "ahima-2012",
        "AHIMA amendment toolkit",
        "Amendments in the electronic health record: toolkit",
        "AHIMA 2012",
        "http://journal.ahima.org/2012/08/29/",
    ),
    Source("ahima-2014", "AHIMA copy-forward", "Appropriate use of copy and paste in records", "AHIMA 2014"),
    Source(
        "record-amendments",
        "insurer's amendment guide",
        "Amendments in the electronic record",
        "",
        "https://medpro.com/ehr-amendments",
    ),
    Source("ihs-manual", "IHS manual 3-3", "Indian Health Manual, part 3, chapter 3: health information", "IHS"),
    # Handoff
    Source("i-pass", "I-PASS", "The I-PASS handoff", "BMC Medical Education 2024;24:1046"),
    Source("sbar", "AHRQ TeamSTEPPS", "SBAR in TeamSTEPPS", "AHRQ"),
    Source("jc-sea-58", "Joint Commission alert 58", "Sentinel Event Alert 58: inadequate hand-off", "2017"),
    Source(
        "jc-handoff",
        "Joint Commission on hand-offs",
        "Inadequate hand-off communication",
        "PSNet",
        "https://psnet.ahrq.gov/issue/inadequate-hand-communication",
    ),
    # Identifiers and exchange
    Source(
        "gs1-general",
        "GS1 General Specifications",
        "GS1 General Specifications",
        "current",
        "https://www.gs1.org",
    ),
    Source(
        "gs1-check-digit",
        "GS1 check digit page",
        "How to calculate a check digit manually",
        "GS1",
        "https://www.gs1.org/how-calculate-check-digit-manually",
    ),
    Source(
        "gs1-healthcare-2025",
        "GS1 rule of 2025",
        "Healthcare items must carry a real day from 2025-01-01",
        "GS1",
    ),
    Source(
        "fda-udi",
        "FDA UDI formats",
        "UDI formats by FDA-accredited issuing agency",
        "version 1.3, 2017-01-27",
    ),
    Source("imdrf-udi", "IMDRF UDI guidance", "UDI system application guide", "IMDRF N48, appendix A"),
    Source("hibc", "HIBC standard", "Health Industry Bar Code supplier labeling standard", "HIBCC"),
    Source("hibc-check-table", "mod 43 check table", "Modulo 43 check characters, worked examples", "copy"),
    Source(
        "hl7-device-example",
        "HL7 FHIR Device example",
        "FHIR Device examples",
        "HL7",
        "https://build.fhir.org/device-example-udi3.html",
    ),
    Source(
        "hl7-fhir-r4",
        "HL7 FHIR R4",
        "Fast Healthcare Interoperability Resources",
        "4.0.1",
        "https://hl7.org/fhir/R4/",
    ),
)

SOURCES: Final[Mapping[str, Source]] = MappingProxyType({row.key: row for row in _ROWS})
"""The bibliography by key."""
