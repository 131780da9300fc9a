"""The titles of the published sources that the catalogue names by number."""

import re

NUMBERED = re.compile(r"\bS\d+\b")
TITLES = {
    "S2": "National Board talk on establishing relieving capacities, 2019, quoting ASME IV HG-400.1",
    "S3": "California Title 8, section 763, low-pressure boilers",
    "S4": "New York 12 NYCRR 4-5.2, safety valves of low-pressure steam boilers",
    "S5": "New York 12 NYCRR 4-5.5, gages",
    "S6": "New York 12 NYCRR 4-5.14, water column and level-control pipes",
    "S7": "Maryland COMAR 09.12.01.11, safety valves of heating boilers",
    "S8": "Maryland COMAR 09.12.01.04, low-water cutoffs",
    "S9": "Maryland COMAR 09.12.01.12, feed connection and steam gage",
    "S10": "North Dakota 33.1-14-09-07, pressure relieving devices",
    "S11": "Hawaii 12-223.1-9, pressure relief valves",
    "S12": "Indiana 680 IAC 2-10-8, steam gages",
    "S13": "Michigan R 408.4242, pressure gauges",
    "S14": "ASME Boiler and Pressure Vessel Code Section VI (2023), excerpt of article 6",
    "S18": "ASME CSD-1 (2009), excerpt of CW-140",
    "S19": "ASME CSD-1 (2018), excerpt of CG-440 and CG-500",
    "S20": "National Board Inspection Code Part 2, paragraph 2.2.10.6, excerpt",
    "S21": "Minnesota check list for the inspection of low-pressure steam boilers",
    "S22": "US DoD UFC 3-430-07; a later copy is marked cancelled: practice, not rule",
    "S23": "General test procedures for boilers, slides of a public body",
    "S24": "Safety device testing procedures of a VA medical centre",
    "S25": "Technical sheet of an insurer: try lever monthly, set pressure yearly",
    "S26": "New Hampshire RSA 157-A:8",
    "S27": "Massachusetts G.L. chapter 146, section 46A, daily log",
    "S28": "New York 12 NYCRR 14-1.14, high-pressure boilers, for contrast",
    "S29": "US DOE Standard Work Specification 5.3102.21, steam boiler pressure operating controls",
    "S30": "US DOE guide to steam balancing in multifamily buildings",
    "S31": "US DOE steam tip sheet 4, combustion efficiency",
    "S33": "Limits of carbon monoxide air-free per ANSI Z21, with numeric examples",
    "S34": "Manual of an oil-heat alliance, ambient carbon monoxide 35 ppm",
    "S42": "National Board article on the maintenance of low-water cutoffs, 1996",
    "S44": "New York City Mechanical Code 2008, appendix A, combustion air",
    "S46": "US DoD UFC 3-240-13FN, industrial water treatment",
    "S47": "Trade press on testing cutoffs, not only flushing them",
    "S50": "Michigan R 408.4223, accumulation test",
    "S51": "Contractor's article on valve intervals and the 5 psi gap",
    "S52": "Connecticut General Statutes 29-237, inspection intervals",
    "S53": "Maryland COMAR 09.12.01.10, 15 psig cap for steam",
}


def spelled_out(source: str) -> str:
    """Return a source with the title after each number: "S29 (US DOE …)". Other words stay as they are."""
    return NUMBERED.sub(lambda match: _with_title(match[0]), source)


def _with_title(number: str) -> str:
    return f"{number} ({TITLES[number]})" if number in TITLES else number
