"""Runs the commands of docs/quality-officer/story.md and compares what they print with what the page says.

    python3 eng/story.py PROGRAM            # compare; exit code 1 where the page is not what the program prints
    python3 eng/story.py PROGRAM --write    # put the present output into the page

PROGRAM starts AnatomyPrep, such as ./anatomyprep or "dotnet .../AnatomyPrep.App.dll". Everything happens in a temporary folder.
Fingerprints, ids, times and versions differ at every run, so they are compared by their form only.
"""
import os, re, subprocess, sys, tempfile

PAGE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "docs", "quality-officer", "story.md")
BLOCK = re.compile(r"(```console\n)(.*?)(```)", re.S)


def masked(text):
    text = re.sub(r"\b[0-9a-f]{8,}\b", "HEX", text)
    text = re.sub(r"\b\d+\.\d+\.\d+\b", "VERSION", text)
    return re.sub(r"\d{4}-\d\d-\d\dT[\d:.]+Z|\d{4}-\d\d-\d\d \d\d:\d\d:\d\dZ", "TIME", text)


def run(block, folder, environment):
    lines = []
    for command in re.findall(r"^\$ (.*)", block, re.M):
        done = subprocess.run(["bash", "-c", command], cwd=folder, env=environment, capture_output=True, text=True)
        lines.append("$ " + command)
        lines += done.stdout.splitlines()
        if done.returncode:
            # The program breaks long lines for the terminal; the page does not.
            lines.append(" ".join(line.strip() for line in done.stderr.splitlines() if " signs: " not in line))
            lines.append(f"(exit code {done.returncode})")
    return "\n".join(lines) + "\n"


def main():
    program, write = sys.argv[1], "--write" in sys.argv
    # The commands run in another folder.
    if os.path.exists(program):
        program = os.path.abspath(program)
    with open(PAGE, encoding="utf-8") as file:
        page = file.read()
    with tempfile.TemporaryDirectory() as folder:
        with open(os.path.join(folder, "anatomyprep"), "w", encoding="utf-8") as file:
            file.write(f'#!/bin/sh\nexec {program} "$@"\n')
        os.chmod(os.path.join(folder, "anatomyprep"), 0o755)
        environment = {**os.environ, "ANATOMYPREP_HOME": os.path.join(folder, "home"), "COLUMNS": "4000"}
        wrong = []

        def again(match):
            said = run(match[2], folder, environment)
            if masked(said) != masked(match[2]):
                wrong.append(f"the page says:\n{match[2]}the program prints:\n{said}")
            return match[1] + (said if write else match[2]) + match[3]

        new = BLOCK.sub(again, page)
    if write:
        with open(PAGE, "w", encoding="utf-8") as file:
            file.write(new)
    elif wrong:
        print("\n".join(wrong))
        sys.exit(1)


main()
