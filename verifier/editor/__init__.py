"""The language server: what editors ask over standard input and output, answered from
:mod:`verifier.assist`, with verdicts from processes that prove. Needs the extra `editor`."""
