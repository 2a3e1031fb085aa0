"""The one streaming engine under live, file and demo."""
