#pragma once

#include <complex>

namespace trimwright {

/// Vibration synchronous with the rotor: x(t) = Re(X e^{j Omega t}).
///
/// |X| is the *peak* amplitude, arg X the phase *lead*; time zero is the instant the reference tooth passes
/// the pickup. Lag, peak-to-peak and rms exist only at the edges (`phasor_from_shown`, `shown_phase_deg`).
using Phasor = std::complex<double>;

/// What a written phase means. `unknown` is settled from the runs, never guessed.
///
/// `lag`: degrees of rotation from the reference pulse to the next positive peak; lag = -arg X (mod 360).
/// `lead`: arg X.
enum class PhaseConvention { lag, lead, unknown };

/// The phasor of peak amplitude `peak` whose phase was written as `phase_deg` in `convention` (lag or lead).
[[nodiscard]] Phasor phasor_from_shown(double peak, double phase_deg, PhaseConvention convention);

/// The phase of `x` as people see it, in degrees in [0, 360), in `convention`; NaN for
/// `unknown`: only the amplitude is shown.
[[nodiscard]] double shown_phase_deg(Phasor x, PhaseConvention convention);

}  // namespace trimwright
