#!/usr/bin/python3
"""Runs the notebooks headless and renders them to docs/notebooks/.

    run.py PROGRAM            run each; compare with the pages in docs/notebooks/, and say what differs
    run.py PROGRAM --write    run each; write the pages
    run.py PROGRAM --twice    run each twice and compare both pages (no page is read or written)
    run.py PROGRAM NAME…      only those

A notebook is kept without outputs and counts, and with a fixed id a cell, so that a
difference in the tree is a difference in the text. Needs Debian's jupyter-nbconvert,
python3-nbclient and python3-ipykernel.
"""

import argparse
import difflib
import json
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
PAGES = HERE.parent / "docs" / "notebooks"

STYLE = """
body { margin: 2rem auto; max-width: 60rem; padding: 0 1rem; font: 16px/1.5 system-ui, "Liberation Sans", Arial, sans-serif; color: #1e2429; background: #f7f5f0; }
h1, h2, h3 { line-height: 1.2; margin: 1.6em 0 .5em; } h1 { font-size: 1.7rem; } h2 { font-size: 1.25rem; }
pre { font: 13px/1.45 "Liberation Mono", Menlo, Consolas, monospace; overflow-x: auto; margin: .5em 0; }
.input_area pre { background: #efece4; padding: .6em .8em; } .output_subarea pre { background: #fff; border: 1px solid #d8d3c8; padding: .6em .8em; }
pre.command { color: #12424a; border: 0 !important; background: none !important; padding: 0 !important; white-space: pre-wrap; }
.prompt, .anchor-link { display: none; }
table { border-collapse: collapse; background: #fff; font-size: .9rem; margin: .5em 0; } th, td { border-bottom: 1px solid #d8d3c8; padding: .25em .7em; text-align: left; vertical-align: top; } td.number { text-align: right; font-variant-numeric: tabular-nums; }
figure { margin: 1em 0; } figure svg { max-width: 100%; height: auto; } figcaption { font-size: .9rem; color: #545d66; }
blockquote { margin: 1em 0; padding: .2em 1em; background: #fbf3e2; border-left: 4px solid #8a5600; }
"""


def kept_clean(path):
    """What is wrong with a notebook as it is kept."""
    book = json.loads(path.read_text(encoding="utf-8"))
    for n, cell in enumerate(book["cells"], 1):
        if cell.get("outputs") or cell.get("execution_count") is not None:
            yield f"{path.name}, cell {n}: has an output or a count; clear all outputs before it is kept"
        if not cell.get("id"):
            yield f"{path.name}, cell {n}: has no id"


def page(path):
    """Runs one notebook and returns its page. An exception in a cell ends the run."""
    import nbclient
    import nbformat
    from nbconvert import HTMLExporter

    book = nbformat.read(path, as_version=4)
    nbclient.NotebookClient(book, timeout=600, kernel_name="python3", resources={"metadata": {"path": str(HERE)}}).execute()
    body, _ = HTMLExporter(template_name="basic").from_notebook_node(book)
    title = book.cells[0].source.splitlines()[0].lstrip("# ")
    text = f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n'
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("names", nargs="*")
    arguments.add_argument("--write", action="store_true")
    arguments.add_argument("--twice", action="store_true")
    a = arguments.parse_args()
    os.environ["FLOURCAST"] = str(Path(a.program).resolve())
    os.environ["FLOURCAST_MODULE"] = str(HERE.parent)
    os.environ["PYDEVD_DISABLE_FILE_VALIDATION"] = "1"
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    notebooks = sorted(HERE.glob("*.ipynb"))
    wrong = [w for path in notebooks for w in kept_clean(path)]
    if not notebooks:
        wrong.append(f"no notebook in {HERE}")
    for path in notebooks:
        if a.names and path.stem not in a.names:
            continue
        now, kept = page(path), PAGES / (path.stem + ".html")
        if a.write:
            PAGES.mkdir(exist_ok=True)
            kept.write_text(now, encoding="utf-8")
            print("written", kept.relative_to(HERE.parent))
            continue
        other = page(path) if a.twice else kept.read_text(encoding="utf-8") if kept.exists() else ""
        if other == now:
            print("the same", path.name)
            continue
        wrong.append(f"{path.name}: " + ("two runs give two pages" if a.twice else "its page is not what it shows now: make notebooks, and look at the difference"))
        sys.stderr.writelines(line + "\n" for line in list(difflib.unified_diff(other.splitlines(), now.splitlines(), "kept", "now", lineterm="", n=0))[:40])
    stale = {p.stem for p in PAGES.glob("*.html")} - {p.stem for p in notebooks}
    wrong += [f"docs/notebooks/{s}.html has no notebook" for s in sorted(stale)]
    for w in wrong:
        print(w, file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
