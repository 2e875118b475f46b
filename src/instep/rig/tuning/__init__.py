"""Numbers of a rig that are solved from the mesh, one a file."""
