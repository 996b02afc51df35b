"""`python -m analysis.page --home DIR`: the web page, until stopped.

Exit codes: 0 asked to stop; 1 no such home, or a page runs already; 2 settings that cannot be used,
or a port that is taken; 3 the home's files cannot be used.
"""

import sys

from analysis.page.process import main

if __name__ == "__main__":
    sys.exit(main())
