"""Log to arrays: exposure, one path per foot, point and sole, one row per observation."""
