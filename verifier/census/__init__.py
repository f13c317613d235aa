"""A second opinion on what must be proved: which obligations a plan must have, and what each says.

Every engine and the reference decide what :mod:`verifier.properties` asks. What is never asked, no
differential test can miss. So this room derives the list again, and shares nothing with the other
derivation: it walks the pieces and joints of the plan itself (:mod:`verifier.census.survey`), and
says of each property in a few lines for which subjects there must be an obligation and what must
never be, or must be possible. ``verifier.census.compare`` compares; a difference is a bug of ours.
"""
