"""The table of nouns: one line a file. The order is the flow, and the order of `straycell --help`."""

from straycell.cli.app.verbs import Noun

_IN, _OUT, _USE, _KEEP = "Taking in and measuring", "Judging and parting", "Giving second work", "Keeping"
_FOLDERS = {_IN: "nouns.take.", _OUT: "nouns.judge.", _USE: "nouns.use.", _KEEP: "nouns.keep."}


def _noun(name: str, heading: str, help_text: str, module: str = "") -> tuple[str, Noun]:
    return name, Noun(f"straycell.cli.{module or _FOLDERS[heading] + name}", help_text, heading)


NOUNS: dict[str, Noun] = dict(
    [
        _noun("intake", _IN, "The guided evening: cell after cell, or what is due to be measured", "intake"),
        _noun("teardown", _IN, "What was opened, where it was found, what came out"),
        _noun("cell", _IN, "One cell, one code, for life"),
        _noun("meter", _IN, "What readings are taken with, and how far to trust it"),
        _noun("charger", _IN, "What charges the cells: where each slot ends, measured at the terminals"),
        _noun("charge", _IN, "Recorded charges: they start the clock for rest voltages"),
        _noun("reading", _IN, "What was measured or seen; a wrong one is superseded"),
        _noun("trace", _IN, "Recorded curves: what a file tells of a cell, and how far to trust it"),
        _noun("verdict", _OUT, "What a cell may be used for, with every reason"),
        _noun("rules", _OUT, "Every limit with its source; your own rule file"),
        _noun("cautions", _OUT, "What to mind at each step"),
        _noun("discard", _OUT, "Take a cell out of use for good"),
        _noun("load", _USE, "What a device draws; which resistor gives the hours wanted"),
        _noun("runtime", _USE, "How long a cell runs a device, with a low end to count on"),
        _noun("charging", _USE, "Whether a charger is gentle enough for a cell"),
        _noun("project", _USE, "Devices waiting for cells"),
        _noun("match", _USE, "Which cells a project gets, and why not the others"),
        _noun("build", _USE, "Cells committed to a project"),
        _noun("label", _USE, "Labels with a QR symbol, and reading them back"),
        _noun("scan", _USE, "Codes from a scanner, one a line: look up, move, print, hand over, take stock"),
        _noun("box", _KEEP, "Where cells lie"),
        _noun("due", _KEEP, "What must be looked at today, worst first"),
        _noun("stock", _KEEP, "Per box: cells, energy, the oldest check, what needs attention"),
        _noun("incident", _KEEP, "What happened to cells: they are held, or condemned at once"),
        _noun("handover", _KEEP, "What leaves for a collection point, with its list"),
        _noun(
            "import", _KEEP, "Cells and readings from a CSV file, all of it or nothing", "nouns.keep.imports"
        ),
        _noun("export", _KEEP, "The whole store as CSV files"),
        _noun("log", _KEEP, "What this bench wrote today, with numbers to take back"),
        _noun("serve", _KEEP, "The bench page for a phone or a tablet, and the devices that may use it"),
        _noun("store", _KEEP, "The file that holds it all: check, backup, restore"),
        _noun("completion", _KEEP, "Let your shell complete codes, boxes, projects and commands"),
        _noun("demo", _KEEP, "An invented workshop, from tear-down to matched project, in seconds"),
    ]
)
