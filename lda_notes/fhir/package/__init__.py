"""The package for integrators: profiles, extensions, codes, systems, what a server must do, examples."""
