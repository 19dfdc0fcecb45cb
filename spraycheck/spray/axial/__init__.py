"""A spray along the nozzle's own axis: one patch, found and measured blind to what is expected."""
