"""What is taken for granted where a file does not say otherwise; every report prints it."""

ASSUMED = (
    "No wiring is given, so every detector and contact is taken to report the truth.",
    "Gaps are taken to stand at or beyond the fouling points: stock inside one block fouls "
    "no other.",
    "Trains are taken to obey signals; beyond the edges of the plan nothing is checked.",
)
