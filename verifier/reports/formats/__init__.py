"""Reports for the programs that run proofs and show what came of them: CI servers, forges, test
runners. Each format is a function of the JSON report of every file, so that none can say more than
it does."""
