#pragma once

#include <complex>

#include "trimwright/base/error.hpp"
#include "trimwright/runs/job.hpp"

namespace trimwright {

/// Whether what a plane is to hold keeps every rule of its plane in the rotor file: stock, weights for some
/// slots only, the most that a slot and the plane may hold, pairs of slots, moments. `added`: the change of
/// its moment [g mm]. Errors: the first rule broken, with what it allows.
[[nodiscard]] Result<void> check_choice(const Plane& plane, const FittedWeights& fitted,
                                        std::complex<double> added);

}  // namespace trimwright
