#pragma once

namespace trimwright {

/// Standard acceleration of free fall [m/s^2] (CGPM 1901, ISO 80000-3).
inline constexpr double free_fall = 9.80665;

}  // namespace trimwright
