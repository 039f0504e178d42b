"""The version of the judging method: it changes whenever any digit of any judgement may change."""

METHOD_VERSION = "1"
