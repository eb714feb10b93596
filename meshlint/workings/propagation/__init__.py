"""What is received where: places, walls, floors, antennas, path loss and cells."""
