"""Ways of cutting a pocket: what a laser, a router, a knife, a 3D printer and a former can make, and how."""
