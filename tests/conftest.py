"""What holds for all tests: how hard Hypothesis looks."""

from hypothesis import settings

# Machines that run tests are slow at times: how long one example takes is no property of relayd.
settings.register_profile("run", deadline=None, print_blob=True)
# tests/long: the campaigns. A failing history is printed with the seed that repeats it.
settings.register_profile("long", deadline=None, print_blob=True, max_examples=10_000)
settings.load_profile("run")
