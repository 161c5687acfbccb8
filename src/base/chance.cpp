#include "chance.hpp"

#include <boost/math/distributions/chi_squared.hpp>

namespace trimwright {

double chance_of_chi_squared(double chi_squared, double degrees_of_freedom) {
  // Boost's (1.74) throws an overflow of a gamma function here; 1 is right to all digits.
  constexpr double many = 300.0;
  if (degrees_of_freedom > many && chi_squared < 0.25 * degrees_of_freedom) return 1.0;
  return boost::math::cdf(boost::math::complement(boost::math::chi_squared(degrees_of_freedom), chi_squared));
}

}  // namespace trimwright
