"""Frame times -> figures, with named definitions. (Being written.)

Pure.
"""
