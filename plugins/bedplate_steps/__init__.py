"""The built-in steps of Bedplate, one module or package per section."""
