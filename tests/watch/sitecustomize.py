"""Python runs this at the start of each program that a test starts: is the watch on there too?"""

import only_sqlite  # noqa: F401
