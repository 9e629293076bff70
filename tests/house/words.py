"""No advice and no alarm in anything a user reads (the tone is set out in docs/cautions.md)."""
import re

import tree

# Never tell anybody what to do at the bedside, never judge a patient. "normal" and "safe" would.
BANNED = re.compile(r"\b(should|must treat|safe|safely|normal|abnormal|dangerous|improves?|recommend(?:s|ed)?|"
                    r"alert|critical|warning|life[- ]threatening)\b|!(?=\s|$|\")", re.I)
assert BANNED.search("PEEP should be raised") and BANNED.search("Look out!")
assert not BANNED.search("No alarm, no medical device, no basis for treatment decisions.")

faults, seen = [], 0
for path in tree.files(".c", ".def", under="ingest") + tree.files(".c", ".def", under="analyze"):
    for line, literal in tree.strings(tree.read(path)):
        seen += 1
        m = BANNED.search(literal)
        if m and literal.strip() not in ("!", "!="):
            faults.append(f'{path}:{line}: "{m.group(0)}" in "{literal}"')
tree.finish("words", faults, seen)
