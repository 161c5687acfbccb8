#include "chance.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>

namespace trimwright {

double chance_of_chi_squared(double chi_squared, double degrees_of_freedom) {
  // Boost's (1.74) throws an overflow of a gamma function here; 1 is right to all digits.
  constexpr double many = 300.0;
  if (degrees_of_freedom > many && chi_squared < 0.25 * degrees_of_freedom) return 1.0;
  return boost::math::cdf(boost::math::complement(boost::math::chi_squared(degrees_of_freedom), chi_squared));
}

double chance_of_quotient(double quotient, double degrees_above, double degrees_below) {
  return boost::math::cdf(
      boost::math::complement(boost::math::fisher_f(degrees_above, degrees_below), quotient));
}

double chance_of_distance(double squared, int components, double degrees_of_freedom) {
  if (components == 0) return 1.0;
  if (degrees_of_freedom > 1e6) return chance_of_chi_squared(squared, components);
  return chance_of_quotient(squared / components, components, degrees_of_freedom);
}

}  // namespace trimwright
