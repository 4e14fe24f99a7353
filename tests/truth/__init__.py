"""Known truth: exact shapes, and pictures of them rendered by code of its own.

Nothing here imports anything of the package under test.

- ``shapes``   exact outlines of lines and arcs: points, signed distance, area, perimeter
- ``zoo``      blanks of an invented workshop, and shapes with published sizes
- ``raster``   exact pixel coverage of polygons, sharp or blurred
- ``light``    noise, sRGB codes, PNG and JPEG bytes
- ``flatbed``  a scanner: ``Scene`` -> ``Rendered`` (pixels, exact maps, placed shapes)
- ``camera``   a pinhole camera with a radial lens over the plane
- ``photo``    a phone photo: ``PhotoScene`` -> ``Photo``; flat things, items with upright walls, light, EXIF
- ``lid``      a scan as the world makes it (uneven lid, dirt, shade, rims); ``lid_scenes``, ``lid_cases`` make such
- ``scenes``   random flatbed scans, one a seed; ``photo_scenes`` the same for photos
- ``score``    a measured outline against the truth, both ways, in micrometres

In a test::

    scene = Scene(90, 70, dpi_x=600, dpi_y=597, blur_px=0.8, noise_codes=1.5, seed=3)
    scene.add_square(30, (20, 30), angle_deg=17)
    truth = scene.add_item(zoo.key_fob(), (60, 35), angle_deg=11, reflectance=(0.1, 0.08, 0.05))
    picture = scene.render()                  # picture.pixels, .to_mm, .to_px, .items
    save_png("scan.png", picture)             # with pHYs
    score = compare(ring_mm, holes_mm, truth) # score.bias_um, .rms_um, .p95_um, .max_um

Frames are those of the project: px is (x, y), y down, (0, 0) the centre of the top-left pixel; mm is y up.
"""
