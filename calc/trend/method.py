"""Name and version of the trend's method; the version changes whenever any digit of any trend may change."""

METHOD = "robust_local_linear_trend"
METHOD_VERSION = "1"
