"""Faults in lens, pose and what a photo's figure says."""

from __future__ import annotations

from .kind import Fault

CAMERA = "tests/test_camera.py"
BUDGET = "tests/test_camera_budget.py"
PROFILE = "tests/test_profile.py"
PHOTO = "tests/test_camera_photo.py"

FAULTS = (
    Fault(
        "height-deviation-tenth",
        "digitize/camera/budget.py",
        "lift_mm=height_within_mm / np.sqrt(3.0)",
        "lift_mm=0.1 * height_within_mm / np.sqrt(3.0)",
        (BUDGET,),
    ),
    Fault(
        "shift-of-all-counts-as-error",
        "digitize/camera/budget.py",
        "moved = moved - moved.mean(axis=0)",
        "moved = moved - 0.0",
        (BUDGET,),
    ),
    Fault(
        "focal-length-not-in-budget",
        "digitize/camera/budget.py",
        '("focal length", (0,))',
        '("focal length", ())',
        (BUDGET,),
    ),
    Fault(
        "length-error-of-the-better-axis",
        "digitize/camera/budget.py",
        "length = max(sum(",
        "length = min(sum(",
        (BUDGET,),
    ),
    Fault(
        "exif-focal-deviation-tenth",
        "digitize/camera/focal.py",
        "EXIF_FOCAL_SD_PART = 0.02",
        "EXIF_FOCAL_SD_PART = 0.002",
        (CAMERA,),
    ),
    Fault("unknown-lens-trusted", "digitize/camera/focal.py", "K1_SD = 0.03", "K1_SD = 0.0003", (CAMERA,)),
    Fault(
        "profile-focus-deviation-none",
        "digitize/camera/focal.py",
        "REFOCUS_SD_PART = 0.003",
        "REFOCUS_SD_PART = 0.0",
        (PROFILE,),
    ),
    Fault("focal-of-36-mm-width", "digitize/camera/lens.py", "np.hypot(36.0, 24.0)", "np.hypot(36.0, 0.0)", (CAMERA,)),
    Fault(
        "second-distortion-term-dropped",
        "digitize/camera/lens.py",
        "stretch = 1.0 + r2 * (self.k1 + r2 * self.k2)",
        "stretch = 1.0 + r2 * self.k1",
        (CAMERA,),
    ),
    Fault("exif-5-mirrored", "digitize/camera/profile.py", "5: ((0, 1), (1, 0)),", "5: ((0, -1), (1, 0)),", (PROFILE,)),
    Fault("exif-8-as-6", "digitize/camera/profile.py", "8: ((0, -1), (1, 0)),", "8: ((0, 1), (-1, 0)),", (PROFILE,)),
    Fault(
        "profile-of-a-crop-taken", "digitize/camera/profile.py", "_SAME_SHAPE = 0.005", "_SAME_SHAPE = 0.5", (PROFILE,)
    ),
    Fault(
        "profile-deviations-swapped",
        "digitize/camera/profile.py",
        'number(sd, "k1", 0.0, 1.0),',
        'number(sd, "k2", 0.0, 1.0),',
        (PROFILE,),
    ),
    Fault(
        "lone-pose-mirrored",
        "digitize/camera/pose.py",
        "np.cross(pair[:, 0], pair[:, 1])",
        "np.cross(pair[:, 1], pair[:, 0])",
        (CAMERA,),
    ),
    Fault(
        "height-plane-below-the-card",
        "digitize/camera/scale.py",
        "(self.height_mm - eye[2])",
        "(-self.height_mm - eye[2])",
        (CAMERA,),
    ),
    Fault(
        "ring-out-of-place-pulls",
        "digitize/camera/solve.py",
        "np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)",
        "np.where(np.abs(u) < 1, (1 - u**2) ** 2, 1.0)",
        (CAMERA,),
    ),
    Fault(
        "bent-card-not-owned-up-to",
        "digitize/camera/solve.py",
        "if found.spread_of_errors <= _FITS:",
        "if found.spread_of_errors <= 1e9:",
        (f"{PHOTO}::test_square_curled_is_said",),
    ),
    Fault(
        "covariance-not-inflated",
        "digitize/camera/solve.py",
        "_with_inflated_noise(normal, prior, max(errors, 1.0))",
        "_with_inflated_noise(normal, prior, 1.0)",
        (CAMERA,),
    ),
    Fault(
        "lifted-ring-kept",
        "digitize/camera/estimate.py",
        "_OUTLIER_PX = 0.12",
        "_OUTLIER_PX = 12.0",
        (f"{PHOTO}::test_bent_mat_is_said_and_its_ring_named",),
    ),
    Fault(
        "height-read-to-a-hundredth",
        "digitize/settings.py",
        "HEIGHT_WITHIN_MM = 0.1 ",
        "HEIGHT_WITHIN_MM = 0.01 ",
        ("tests/test_other_border.py::test_heights_say_how_well_they_are_known",),
    ),
)
