"""The proving bench: what Bedplate renders, carried out on a virtual machine with real firmware."""
