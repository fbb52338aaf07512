"""The screens of the app, one question each. They ask and show; every number comes from the modules around them.

To add a screen: write a module with a function `show()` and add it to `SCREENS` in `catalogue.py`.
"""
