"""Reads the report of a test run: the ten slowest tests, or the sum of what passed and failed."""

import sys
import xml.etree.ElementTree as xml


def main() -> None:
    arguments = [argument for argument in sys.argv[1:] if argument != "--sum"]
    cases = list(xml.parse(arguments[0]).getroot().iter("testcase"))
    if "--sum" in sys.argv:
        marks = ("failure", "error")
        bad = [case for case in cases if any(case.find(mark) is not None for mark in marks)]
        # The last lines of a run are what survives of a long output: they name each failure.
        for case in bad:
            print(f"FAILED {case.get('classname')} {case.get('name')}")
            text = next(case.iter("system-err"), None)
            for line in ((text.text or "") if text is not None else "").splitlines()[:60]:
                print(f"    {line[:200]}")
        print(f"{len(cases) - len(bad)} passed, {len(bad)} failed")
        return
    cases.sort(key=lambda case: float(case.get("time", 0)), reverse=True)
    print("The slowest tests:")
    for case in cases[:10]:
        print(f"{float(case.get('time', 0)):9.2f} s  {case.get('classname')} {case.get('name')}")


main()
