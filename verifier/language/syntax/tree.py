"""The syntax tree: every node, names still text. One namespace for all statements."""

from verifier.language.statements.claims import *  # noqa: F403
from verifier.language.statements.kind import KINDS
from verifier.language.statements.locking import *  # noqa: F403
from verifier.language.statements.modules import *  # noqa: F403
from verifier.language.statements.nodes import *  # noqa: F403
from verifier.language.statements.signals import *  # noqa: F403
from verifier.language.statements.track import *  # noqa: F403
from verifier.language.statements.wiring import *  # noqa: F403

KIND_OF = {kind.node: kind for kind in KINDS}
KIND_BY_RULE = {kind.rule: kind for kind in KINDS}
# By the word that starts it. Where two kinds start with one word, the one with an example.
KIND_BY_TERMINAL = {kind.terminal: kind for kind in KINDS if kind.example}
# Words that start a statement; recovery after an error begins at the next one.
STATEMENT_WORDS = frozenset(KIND_BY_TERMINAL)
