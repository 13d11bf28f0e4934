"""Draw the table of transitions into DEVELOPERS.md.

python scripts/state_table.py
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from harness.run.transitions import TRANSITIONS, Phase  # noqa: E402 - the path comes first

BEGIN = "<!-- state table: drawn by scripts/state_table.py -->"
END = "<!-- end of the state table -->"


def table() -> str:
    """Return the table as Markdown: a row per phase, what may come and where it leads."""
    lines = ["| in phase | comes | leads to |", "| --- | --- | --- |"]
    for phase in Phase:
        after: dict[Phase, list[str]] = {}
        for kind, then in TRANSITIONS[phase].items():
            after.setdefault(then, []).append(kind.__name__)
        for then, kinds in after.items():
            where = "stays" if then is phase else f"**{then.value}**"
            lines.append(f"| {phase.value} | {', '.join(kinds)} | {where} |")
    return "\n".join(lines)


def main() -> int:
    """Write the table between its two marks."""
    path = ROOT / "DEVELOPERS.md"
    text = path.read_text(encoding="utf-8")
    start, end = text.index(BEGIN) + len(BEGIN), text.index(END)
    path.write_text(f"{text[:start]}\n{table()}\n{text[end:]}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
