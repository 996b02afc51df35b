"""Entering in the record book, the same from the command line and from the page.

    desk      what was written, read; rules and doubts before anything is entered
    meals     a new meal, and how one went on
    after     what has to be said, or asked, once something is entered

Who asks is theirs: the command line asks at the terminal, the page shows its form again.
"""
