"""Generated tests draw the same cases every time in CI, so that a red run can be repeated."""

import os

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
if os.environ.get("CI") and os.environ.get("CLEARPROOF_PROFILE") != "nightly":
    settings.load_profile("repeatable")
