"""The likely meaning of a recipe with mistakes, so that all mistakes are found at once.

Of 34 pairs of typical mistakes 31 are reported in full at once; without ``intent`` 19, without ``repair`` 25, without
either 7, and without ``intent`` four single mistakes lead to a second, false error. ``test_pairs`` holds most of them.
"""
