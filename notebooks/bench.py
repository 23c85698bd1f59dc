"""What the notebooks share: call flourcast, show what it answers.

Nothing is worked out here or in the notebooks. Every figure comes from the program, by
--json, by a CSV file that it wrote, or by a page that it drew. Python's own library only.

Environment: FLOURCAST names the program (default: flourcast on the PATH), FLOURCAST_MODULE
the folder of go.mod, for cells that begin with %%go.
"""

import atexit
import csv
import html
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

from IPython import get_ipython
from IPython.display import HTML, display

PROGRAM = os.environ.get("FLOURCAST", "flourcast")
MODULE = Path(os.environ.get("FLOURCAST_MODULE", Path(__file__).resolve().parent.parent))

# One clock for all that is made here, so that a notebook run again shows the same.
os.environ.setdefault("SOURCE_DATE_EPOCH", "1767225600")

_workspace = tempfile.TemporaryDirectory(prefix="flourcast-notebook-")
atexit.register(_workspace.cleanup)
os.chdir(_workspace.name)


def _words(line):
    """Splits a command line as a shell would and opens its wildcards."""
    words = []
    for word in shlex.split(line):
        found = sorted(str(p) for p in Path().glob(word)) if "*" in word else []
        words += found or [word]
    return words


def _run(line, *more):
    return subprocess.run([PROGRAM, *_words(line), *more], capture_output=True, text=True, check=False)


def _say(line):
    display(HTML(f"<pre class='command'>$ flourcast {html.escape(line)}</pre>"))


def answer(line):
    """The program's answer to a command line as a dict (--json)."""
    _say(line)
    done = _run(line, "--json")
    if done.returncode != 0:
        raise RuntimeError(f"flourcast {line}\n{done.stderr}")
    return json.loads(done.stdout)


def screen(line, *sections):
    """What the program prints; only the named sections, when some are named."""
    _say(line)
    done = _run(line)
    if done.returncode != 0:
        raise RuntimeError(f"flourcast {line}\n{done.stderr}")
    text = done.stdout
    if sections:
        parts = re.split(r"(?m)^(?=\S.*\n─+$)", text)
        chosen = [p for s in sections for p in parts if p.split("\n", 1)[0] == s]
        if len(chosen) != len(sections):
            raise RuntimeError(f"flourcast {line}: expected the sections {sections}, there are {[p.splitlines()[0] for p in parts]}")
        text = "".join(chosen)
    print(text.rstrip())


def refusal(line):
    """What the program says when it refuses a command line: it must refuse."""
    _say(line)
    done = _run(line)
    if done.returncode == 0:
        raise RuntimeError(f"flourcast {line}: was not refused")
    print(done.stderr.rstrip())
    print(f"(exit code {done.returncode})")


def rows(path):
    """The rows of a CSV file that the program wrote or reads."""
    with open(path, encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f))


def number(text):
    """The figure of a cell of a CSV file; None where the cell is empty."""
    return float(text) if text else None


def _cell(value, digits):
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if 0 < value < 0.5 * 10**-digits:
            return f"&lt;{10**-digits:.{digits}f}"
        return f"{value:.{digits}f}".replace("-", "−")
    return html.escape(str(value))


def table(records, columns, digits=2):
    """Shows records under the headings of columns: heading → key, "a.b" for nested keys."""
    out = ["<table><thead><tr>", *(f"<th>{html.escape(h)}</th>" for h in columns), "</tr></thead><tbody>"]
    for r in records:
        out.append("<tr>")
        for key in columns.values():
            value = r
            for part in key.split("."):
                value = value.get(part) if isinstance(value, dict) else None
            number = isinstance(value, (int, float)) and not isinstance(value, bool)
            out.append(f"<td{' class=number' if number else ''}>{_cell(value, digits)}</td>")
        out.append("</tr>")
    display(HTML("".join(out) + "</tbody></table>"))


def figures(page, *words, most=99):
    """Shows the pictures of a page that the program drew, at most so many, those whose caption has one of the words."""
    shown = 0
    for figure in re.findall(r"<figure.*?</figure>", Path(page).read_text(encoding="utf-8"), re.S):
        caption = re.search(r"<figcaption>(.*?)</figcaption>", figure, re.S)
        if words and not (caption and any(w in caption.group(1) for w in words)):
            continue
        display(HTML(figure))
        shown += 1
        if shown == most:
            break
    if shown == 0:
        raise RuntimeError(f"{page} has no picture whose caption has one of {words}")


def go(_, cell):
    """The cell magic %%go: runs a whole Go program that imports flourcast's packages."""
    path = Path("cell.go").resolve()
    path.write_text(cell, encoding="utf-8")
    done = subprocess.run(["go", "run", str(path)], cwd=MODULE, capture_output=True, text=True, check=False,
                          env={**os.environ, "WORKSPACE": os.getcwd()})
    sys.stdout.write(done.stdout)
    if done.returncode != 0:
        raise RuntimeError(done.stderr)


if get_ipython():
    get_ipython().register_magic_function(go, "cell")
