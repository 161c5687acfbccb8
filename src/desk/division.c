/* (a + ib) / (c + id), what compilers call for a division of complex numbers, as the C standard shows it (ISO/IEC 9899:2011,
 * G.5.1 example 2): the divisor scaled by a power of two. GCC's own is more accurate for extreme numbers and rounds
 * otherwise; that of emscripten's C++ library is this one. */
#include <math.h>

double _Complex __divdc3(double a, double b, double c, double d);

double _Complex __divdc3(double a, double b, double c, double d) {
  const double size = logb(fmax(fabs(c), fabs(d)));
  int exponent = 0;
  if (isfinite(size)) {
    exponent = (int)size;
    c = scalbn(c, -exponent);
    d = scalbn(d, -exponent);
  }
  const double denominator = c * c + d * d;
  union {
    double part[2];
    double _Complex whole;
  } quotient = {{scalbn((a * c + b * d) / denominator, -exponent), scalbn((b * c - a * d) / denominator, -exponent)}};
  if (isnan(quotient.part[0]) && isnan(quotient.part[1])) {
    if (denominator == 0.0 && (!isnan(a) || !isnan(b))) {
      quotient.part[0] = copysign(INFINITY, c) * a;
      quotient.part[1] = copysign(INFINITY, c) * b;
    } else if ((isinf(a) || isinf(b)) && isfinite(c) && isfinite(d)) {
      a = copysign(isinf(a) ? 1.0 : 0.0, a);
      b = copysign(isinf(b) ? 1.0 : 0.0, b);
      quotient.part[0] = INFINITY * (a * c + b * d);
      quotient.part[1] = INFINITY * (b * c - a * d);
    } else if (isinf(size) && size > 0.0 && isfinite(a) && isfinite(b)) {
      c = copysign(isinf(c) ? 1.0 : 0.0, c);
      d = copysign(isinf(d) ? 1.0 : 0.0, d);
      quotient.part[0] = 0.0 * (a * c + b * d);
      quotient.part[1] = 0.0 * (b * c - a * d);
    }
  }
  return quotient.whole;
}
