"""Loading: the entry-point group `bedplate` becomes steps, extensions and renderers that can be relied on."""
