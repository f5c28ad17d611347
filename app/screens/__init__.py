"""The screens, one module each; each has one `show()` that draws it and calls the library."""
