"""Pictures of the page over a store of your own, as the README shows those of the demo's.

    python scripts/page_pictures.py --store STORE --base KEY=VALUE --against KEY=VALUE --into FOLDER

Touches disk, processes and the network of this machine. Needs Chromium and playwright: the
environment of the tests. The grid of the latest run and the comparison are taken, in the light
scheme, 1100 by 780 points.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlencode

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parent.parent
SIZE = {"width": 1100, "height": 780}


def harness(*arguments: str) -> dict[str, object]:
    """Return what a command of the harness answers as JSON."""
    command = [sys.executable, "-m", "harness", *arguments, "--json"]
    answer: dict[str, object] = json.loads(subprocess.check_output(command, cwd=ROOT, text=True))
    return answer


def views(store: str, *, base: str, against: str) -> dict[str, str]:
    """Return where each view of the latest run lies, by the name of its picture."""
    return {
        "demo-grid": f"runs/{harness('trace', '--store', store)['run']}",
        "demo-compare": f"compare?{urlencode({'base': base, 'against': against})}",
    }


def main() -> int:
    """Start the page, take the pictures, stop it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--store", required=True)
    parser.add_argument("--base", required=True, metavar="KEY=VALUE")
    parser.add_argument("--against", required=True, metavar="KEY=VALUE")
    parser.add_argument("--into", required=True, type=Path, metavar="FOLDER")
    args = parser.parse_args()
    store = str(Path(args.store).absolute())
    args.into.mkdir(parents=True, exist_ok=True)
    wanted = views(store, base=args.base, against=args.against)
    command = [sys.executable, "-m", "harness", "page", "--port", "0", "--json", "--store", store]
    page = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    try:
        assert page.stdout is not None
        address = json.loads(page.stdout.readline())["address"]
        with sync_playwright() as playwright:
            found = shutil.which("chromium") or shutil.which("chromium-browser")
            browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
            tab = browser.new_page(viewport=SIZE, color_scheme="light")  # type: ignore[arg-type]
            for name, where in wanted.items():
                tab.goto(address + where, wait_until="networkidle")
                tab.screenshot(path=str(args.into / f"{name}.png"))
                print(args.into / f"{name}.png")
            browser.close()
    finally:
        page.terminate()
        page.wait(timeout=20)
    return 0


if __name__ == "__main__":
    sys.exit(main())
