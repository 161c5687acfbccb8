#include "trimwright/phasor.hpp"

#include <cassert>
#include <limits>

namespace trimwright {

Phasor phasor_from_shown(double peak, double phase_deg, PhaseConvention convention) {
  assert(convention != PhaseConvention::unknown);
  const double lead = convention == PhaseConvention::lag ? -phase_deg : phase_deg;
  return std::polar(peak, radians(wrap_360(lead)));
}

double shown_phase_deg(Phasor x, PhaseConvention convention) {
  if (convention == PhaseConvention::unknown) return std::numeric_limits<double>::quiet_NaN();
  const double lead = degrees(std::arg(x));
  return wrap_360(convention == PhaseConvention::lag ? -lead : lead);
}

}  // namespace trimwright
