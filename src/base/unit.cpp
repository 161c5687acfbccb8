#include "trimwright/phasor.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <optional>
#include <span>

#include "free_fall.hpp"
#include "from_chars.hpp"
#include "text.hpp"

namespace trimwright {
namespace {

struct NamedFactor {
  std::string_view name;
  double factor;
};

struct MotionSymbol {
  std::string_view name;
  std::string_view symbol;
  MotionQuantity quantity;
  double si_per_unit;
};

/// Nothing a technician writes is larger; what is, is a slip or an attack.
constexpr double largest_number = 1e9;

constexpr double inch_m = 0.0254;
constexpr double ounce_g = 28.349523125;
constexpr double pound_g = 453.59237;

constexpr std::array motion_symbols{
    MotionSymbol{"mil", "mil", MotionQuantity::displacement, inch_m * 1e-3},
    MotionSymbol{"mils", "mil", MotionQuantity::displacement, inch_m * 1e-3},
    MotionSymbol{"um", "µm", MotionQuantity::displacement, 1e-6},
    MotionSymbol{"µm", "µm", MotionQuantity::displacement, 1e-6},  // micro sign
    MotionSymbol{"μm", "µm", MotionQuantity::displacement, 1e-6},  // Greek mu
    MotionSymbol{"micron", "µm", MotionQuantity::displacement, 1e-6},
    MotionSymbol{"microns", "µm", MotionQuantity::displacement, 1e-6},
    MotionSymbol{"mm", "mm", MotionQuantity::displacement, 1e-3},
    MotionSymbol{"in", "in", MotionQuantity::displacement, inch_m},
    MotionSymbol{"inch", "in", MotionQuantity::displacement, inch_m},
    MotionSymbol{"in/s", "in/s", MotionQuantity::velocity, inch_m},
    MotionSymbol{"in/sec", "in/s", MotionQuantity::velocity, inch_m},
    MotionSymbol{"inch/s", "in/s", MotionQuantity::velocity, inch_m},
    MotionSymbol{"inch/sec", "in/s", MotionQuantity::velocity, inch_m},
    MotionSymbol{"ips", "in/s", MotionQuantity::velocity, inch_m},
    MotionSymbol{"mm/sec", "mm/s", MotionQuantity::velocity, 1e-3},
    MotionSymbol{"mm/s", "mm/s", MotionQuantity::velocity, 1e-3},
    MotionSymbol{"m/s", "m/s", MotionQuantity::velocity, 1.0},
    MotionSymbol{"g", "g", MotionQuantity::acceleration, free_fall},
    MotionSymbol{"m/s2", "m/s²", MotionQuantity::acceleration, 1.0},
    MotionSymbol{"m/s^2", "m/s²", MotionQuantity::acceleration, 1.0},
    MotionSymbol{"m/s²", "m/s²", MotionQuantity::acceleration, 1.0},
};

/// Other ways people write a unit that the tables below name.
constexpr std::array<std::pair<std::string_view, std::string_view>, 12> unit_spellings{{{"gram", "g"},
                                                                                        {"grams", "g"},
                                                                                        {"gramme", "g"},
                                                                                        {"grammes", "g"},
                                                                                        {"lbs", "lb"},
                                                                                        {"ounce", "oz"},
                                                                                        {"ounces", "oz"},
                                                                                        {"inch", "in"},
                                                                                        {"inches", "in"},
                                                                                        {"mils", "mil"},
                                                                                        {"degree", "deg"},
                                                                                        {"degrees", "deg"}}};

constexpr std::array masses{NamedFactor{"g", 1.0}, NamedFactor{"kg", 1e3}, NamedFactor{"mg", 1e-3},
                            NamedFactor{"oz", ounce_g}, NamedFactor{"lb", pound_g}};
constexpr std::array lengths{NamedFactor{"mm", 1.0},    NamedFactor{"cm", 10.0}, NamedFactor{"m", 1e3},
                             NamedFactor{"um", 1e-3},   NamedFactor{"µm", 1e-3}, NamedFactor{"in", 25.4},
                             NamedFactor{"mil", 0.0254}};
constexpr std::array moments{NamedFactor{"g.mm", 1.0},
                             NamedFactor{"g.cm", 10.0},
                             NamedFactor{"kg.mm", 1e3},
                             NamedFactor{"g.m", 1e3},
                             NamedFactor{"oz.in", ounce_g * 25.4},
                             NamedFactor{"g.in", 25.4}};

std::string_view trim_blanks(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

/// The detector that words name, whatever marks stand in them: "pk-pk", "p/p", "peak to peak", "(0-p)".
std::optional<Detector> detector_named(std::string_view text) {
  std::string words;
  for (const char c : lower_case(text))
    if (std::string_view("-/._,()").find(c) == std::string_view::npos) words += c;
  words = std::string(trim_blanks(words));
  for (const std::string_view peak :
       {"peak", "pk", "0p", "0pk", "0peak", "0 to peak", "zeropeak", "zero to peak", "zerotopeak"})
    if (words == peak) return Detector::peak;
  for (const std::string_view both :
       {"pp", "pkpk", "ptop", "p to p", "pktopk", "pk to pk", "peakpeak", "peaktopeak", "peak to peak"})
    if (words == both) return Detector::peak_to_peak;
  if (words == "rms") return Detector::rms;
  return std::nullopt;
}

std::string_view detector_text(Detector detector) {
  switch (detector) {
    case Detector::peak:
      return "peak";
    case Detector::peak_to_peak:
      return "pp";
    case Detector::rms:
      return "rms";
    case Detector::as_shown:
      return "";
  }
  return "";
}

/// "g.mm" for any of "g.mm", "g mm", "g*mm", "g·mm", "g-mm".
std::string moment_unit_key(std::string_view unit) {
  std::string key;
  for (std::size_t i = 0; i < unit.size(); ++i) {
    if (unit.substr(i).starts_with("·")) {
      key += '.';
      ++i;
    } else if (unit[i] == '*' || unit[i] == ' ' || unit[i] == '-') {
      key += '.';
    } else {
      key += unit[i];
    }
  }
  return key;
}

std::string listed(std::span<const NamedFactor> units) {
  std::string text;
  for (const auto& unit : units) text += (text.empty() ? "" : ", ") + std::string(unit.name);
  return text;
}

Result<double> parse_with(std::string_view text, std::span<const NamedFactor> units, const char* example) {
  auto quantity = parse_quantity(text);
  if (!quantity) return tl::unexpected(quantity.error());
  const auto spelled = std::find_if(unit_spellings.begin(), unit_spellings.end(),
                                    [&](const auto& one) { return lower_case(quantity->unit) == one.first; });
  const std::string_view named = spelled == unit_spellings.end() ? quantity->unit : spelled->second;
  for (const auto& unit : units)
    if (named == unit.name) return quantity->value * unit.factor;
  const std::string expected =
      std::string("a number with a unit (") + listed(units) + "), such as \"" + example + "\"";
  if (quantity->unit.empty()) return fail("\"" + shortened(text) + "\" has no unit", expected);
  return fail("unit \"" + shortened(quantity->unit) + "\" is not known here", expected);
}

/// Number of time derivatives of displacement.
int order(MotionQuantity quantity) {
  assert(quantity != MotionQuantity::as_shown);
  return quantity == MotionQuantity::displacement ? 0 : quantity == MotionQuantity::velocity ? 1 : 2;
}

}  // namespace

double VibrationUnit::peak_from_shown(double shown) const {
  switch (detector) {
    case Detector::peak_to_peak:
      return shown / 2.0;
    case Detector::rms:
      return shown * std::numbers::sqrt2;
    case Detector::peak:
    case Detector::as_shown:
      break;
  }
  return shown;
}

double VibrationUnit::shown_from_peak(double peak) const {
  switch (detector) {
    case Detector::peak_to_peak:
      return peak * 2.0;
    case Detector::rms:
      return peak / std::numbers::sqrt2;
    case Detector::peak:
    case Detector::as_shown:
      break;
  }
  return peak;
}

std::string VibrationUnit::text() const {
  const auto suffix = detector_text(detector);
  return suffix.empty() ? symbol : symbol + " " + std::string(suffix);
}

Result<VibrationUnit> parse_vibration_unit(std::string_view text) {
  const auto whole = trim_blanks(text);
  const std::string lower = lower_case(whole);
  const std::string expected =
      "a vibration unit (mil, um, mm, in, in/s, mm/s, m/s, g, m/s2) with peak, pp or rms";
  const MotionSymbol* motion = nullptr;  // the longest name that the text begins with, up to some mark
  for (const auto& one : motion_symbols) {
    const bool begins = lower.starts_with(one.name) &&
                        (lower.size() == one.name.size() ||
                         std::string_view(" -_,(").find(lower[one.name.size()]) != std::string_view::npos);
    if (begins && (motion == nullptr || one.name.size() > motion->name.size())) motion = &one;
  }
  if (motion == nullptr) return fail("vibration unit \"" + shortened(whole) + "\" is not known", expected);
  const auto rest = std::string_view(lower).substr(motion->name.size());
  const auto detector = detector_named(rest);
  if (detector)
    return VibrationUnit{motion->quantity, *detector, motion->si_per_unit, std::string(motion->symbol)};
  if (rest.empty()) return fail("\"" + shortened(whole) + "\" has no detector", expected);
  return fail("vibration unit \"" + shortened(whole) + "\" is not known", expected);
}

VibrationUnit display_unit(std::string symbol) {
  return {MotionQuantity::as_shown, Detector::as_shown, 1.0, std::move(symbol)};
}

Result<double> convert_peak(double peak, const VibrationUnit& from, const VibrationUnit& to, double rpm) {
  const bool shown = from.quantity == MotionQuantity::as_shown || to.quantity == MotionQuantity::as_shown;
  if (shown && from == to) return peak;
  if (shown)
    return fail("\"" + from.text() + "\" does not convert to \"" + to.text() + "\"", "the same unit");
  const double omega = 2.0 * std::numbers::pi * rpm / 60.0;
  const int derivatives = order(to.quantity) - order(from.quantity);
  return peak * from.si_per_unit * std::pow(omega, derivatives) / to.si_per_unit;
}

double phase_lead_deg(MotionQuantity from, MotionQuantity to) { return 90.0 * (order(to) - order(from)); }

Result<Quantity> parse_quantity(std::string_view text) {
  const auto whole = trim_blanks(text);
  auto digits = whole;
  if (digits.starts_with('+') && !digits.starts_with("+-")) digits.remove_prefix(1);
  Quantity quantity;
  const auto [end, status] = from_chars(digits.data(), digits.data() + digits.size(), quantity.value);
  if (status != std::errc{} || !std::isfinite(quantity.value) || std::abs(quantity.value) > largest_number)
    return fail("\"" + shortened(whole) + "\" is not a finite number up to 1e9",
                "a number such as 4.2, then its unit");
  const auto rest = digits.substr(static_cast<std::size_t>(end - digits.data()));
  if (rest.size() > 1 && rest.front() == ',' && rest[1] >= '0' && rest[1] <= '9' &&
      rest.find_first_of(".,", 1) == std::string_view::npos) {
    const std::size_t comma = whole.size() - rest.size();
    std::string meant(whole);
    meant[comma] = '.';
    meant = "\"" + shortened(meant) + "\"";
    if (std::min(rest.find_first_not_of("0123456789", 1), rest.size()) ==
        4)  // three digits: perhaps thousands
      meant += " or \"" + shortened(std::string(whole).erase(comma, 1)) + "\"";
    return fail("\"" + shortened(whole) + "\" has a comma for its decimal point: " + meant,
                "a number such as 4.2, then its unit");
  }
  if (!rest.empty() &&
      (rest.front() == ',' || rest.front() == '.' || (rest.front() >= '0' && rest.front() <= '9')))
    return fail("\"" + shortened(whole) + "\" is not a number", "a decimal point and no thousands mark");
  quantity.unit = std::string(trim_blanks(rest));
  return quantity;
}

Result<double> parse_mass_g(std::string_view text) { return parse_with(text, masses, "4.2 g"); }
Result<double> parse_length_mm(std::string_view text) { return parse_with(text, lengths, "212 mm"); }

Result<double> parse_moment_g_mm(std::string_view text) {
  auto quantity = parse_quantity(text);
  if (!quantity) return tl::unexpected(quantity.error());
  for (const auto& unit : moments)
    if (moment_unit_key(quantity->unit) == unit.name) return quantity->value * unit.factor;
  const std::string expected = "a moment (" + listed(moments) + "), such as \"790 g.mm\"";
  if (quantity->unit.empty()) return fail("\"" + shortened(text) + "\" has no unit", expected);
  return fail("\"" + shortened(quantity->unit) + "\" is not a unit of mass times radius", expected);
}

Result<double> parse_angle_deg(std::string_view text) {
  static constexpr std::array units{NamedFactor{"deg", 1.0}, NamedFactor{"°", 1.0}};
  return parse_with(text, units, "45 deg");
}

Result<double> parse_percent(std::string_view text) {
  static constexpr std::array units{NamedFactor{"%", 1.0}};
  return parse_with(text, units, "2 %");
}

std::string_view name(MotionQuantity quantity) {
  switch (quantity) {
    case MotionQuantity::displacement:
      return "displacement";
    case MotionQuantity::velocity:
      return "velocity";
    case MotionQuantity::acceleration:
      return "acceleration";
    case MotionQuantity::as_shown:
      return "as shown";
  }
  return "";
}

}  // namespace trimwright
