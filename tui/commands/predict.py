"""pullstand predict: what force published formulas give, with source, basis and range."""

import argparse
from typing import Any

EXAMPLES = """\
examples:
  pullstand predict wood-screw G12=0.50 d="No. 10" l="25 mm"
  pullstand predict lag-screw source=nds G0=0.50 d="1/2 in"
  pullstand predict wood-screw source=ec5 rho_k=350 d_mm=8 l_mm=100 count=4
  pullstand predict nail species="Douglas-fir" d=8d l="40 mm"
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from analysis.predictions.formulas import BY_KIND
    from analysis.predictions.keys import NUMBERS, QUANTITIES, WORDS

    parser.add_argument("kind", metavar="KIND", help=", ".join(BY_KIND))
    parser.add_argument("pairs", metavar="key=value", nargs="*", help="see below")
    numbers = "\n".join(f"  {key:14} {meaning}" for key, meaning in NUMBERS.items())
    words = "\n".join(f"  {key:14} {', '.join(w) or 'a name'}" for key, w in WORDS.items())
    parser.epilog = (
        f"{EXAMPLES}\nwords:\n{words}\nplain numbers in the unit named:\n{numbers}\n"
        f"the same with a unit of your choice:\n  {', '.join(QUANTITIES)}\n"
        "An expectation for range and pace. It never judges a pull."
    )


def run(args: argparse.Namespace) -> int:
    """Print the prediction."""
    from analysis.predictions import ask, keys
    from tui.output import print_json

    inputs = keys.read_pairs(args.pairs)
    document = _document(args.kind, inputs, ask.predict(args.kind, inputs))
    holes = ask.lead_holes(args.kind, inputs)
    if holes:
        document["lead_holes"] = [_as_dict(hole) for hole in holes]
    if args.json:
        print_json(document)
    else:
        _show(document)
    return 0


def _document(kind: str, inputs: Any, found: Any) -> dict[str, Any]:
    document = _as_dict(found)
    document["kind"] = kind
    document["inputs"] = {**inputs.words, **inputs.numbers}
    if found.unit == "N/mm" and "l_mm" in inputs.numbers:
        document["total_n"] = found.value * inputs["l_mm"]
    return document


def _as_dict(value: Any) -> dict[str, Any]:
    from dataclasses import asdict

    return asdict(value)


def _show(document: dict[str, Any]) -> None:
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    total = f"  ({document['total_n']:.4g} N over l_mm)" if "total_n" in document else ""
    console.print(Text.assemble((f"{document['value']:.4g} {document['unit']}", "bold"), total))
    lines = [
        ("what", document["kind_of_value"]),
        ("source", document["source"]),
        ("basis", document["basis"]),
        ("range", "within" if document["valid"] else "OUTSIDE the published range"),
        *(("note", words) for words in document["warnings"]),
        *(("hole", _hole(hole)) for hole in document.get("lead_holes", ())),
    ]
    table = Table.grid(padding=(0, 2))
    for name, words in lines:
        table.add_row(Text(name), Text(words))
    console.print(Padding(table, (0, 0, 0, 2), expand=False))
    console.print("  An expectation for range and pace. It never judges a pull.")


def _hole(hole: dict[str, Any]) -> str:
    low, high = hole["low_mm"], hole["high_mm"]
    size = f"{low:.2f} mm" if low == high else f"{low:.2f} to {high:.2f} mm"
    return f"{hole['wood']}: lead hole {size}, from the {hole['of']} ({hole['source']})"
