#include "trimwright/files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/linear_algebra.hpp"
#include "base/name.hpp"
#include "fitted_fields.hpp"
#include "trade_values.hpp"
#include "yaml_fields.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;

/// Gives the coefficient's plane and sensor as the rotor writes them; refuses what the rotor does not have.
void place_on(const Rotor& rotor, YamlFields& fields, PriorCoefficient& one) {
  one.plane = rotor.planes[read_plane_name(fields.required("plane"), rotor)].name;
  const Sensor& sensor = rotor.sensors[read_sensor_name(fields.required("sensor"), rotor)];
  one.sensor = sensor.name;
  const std::string& symbol = sensor.unit.symbol;
  if (one.unit != symbol)
    fields.required("unit").reject("sensor \"" + one.sensor + "\" is not in \"" + one.unit + "\"",
                                   "\"" + symbol + "\", or a prior learned anew");
}

PriorCoefficient read_coefficient(const YamlValue& value, const Rotor* rotor) {
  YamlFields fields(value, "{speed: ..., sensor: ..., plane: ..., unit: ..., amplitude: ..., phase: ...}");
  PriorCoefficient one;
  one.rpm = fields.required("speed").parsed(parse_rpm);
  one.sensor = fields.required("sensor").label();
  one.plane = fields.required("plane").label();
  one.unit = fields.required("unit").label();
  const double amplitude = fields.required("amplitude").number(1e-300, 1e300);
  const double phase = fields.required("phase").parsed(parse_angle_deg);
  one.mean = phasor_from_shown(amplitude, phase, PhaseConvention::lead);
  if (const auto jobs = fields.optional("jobs")) one.jobs = jobs->whole_number(fewest_fleet_jobs, 1000000);
  fields.finish();
  if (rotor != nullptr) place_on(*rotor, fields, one);
  return one;
}

/// Rows of a lower triangle as a symmetric matrix of `size`.
MatrixXd read_covariance(const YamlValue& value, Index size) {
  const auto rows = value.list("a list of the rows of a lower triangle");
  if (static_cast<Index>(rows.size()) != size)
    value.reject(fmt::format("{} rows stand here", rows.size()), fmt::format("{} rows", size));
  MatrixXd matrix(size, size);
  for (Index i = 0; i < size; ++i) {
    const auto& row = rows[static_cast<std::size_t>(i)];
    const auto numbers = row.list("a row of numbers");
    if (static_cast<Index>(numbers.size()) != i + 1)
      row.reject(fmt::format("{} numbers stand here", numbers.size()), fmt::format("{} numbers", i + 1));
    for (Index j = 0; j <= i; ++j)
      matrix(i, j) = matrix(j, i) = numbers[static_cast<std::size_t>(j)].number(-1e6, 1e6);
  }
  const auto variances = symmetric_eigen(matrix).values;
  if (size > 0 && variances.minCoeff() < -1e-9 * std::max(1e-12, variances.maxCoeff()))
    value.reject("this is no covariance: some combination would have a negative variance",
                 "the file as trimwright influence --learn wrote it");
  return matrix;
}

FleetScatter read_scatter(YamlFields& fields) {
  FleetScatter scatter;
  YamlFields parts(fields.required("scatter"), "the parts of the scatter between rotors");
  Index told = 0;
  for (const auto& name : scatter_names()) {
    // Older files do not know the last part.
    const bool last = told + 1 == FleetScatter::parts;
    const auto part = last ? parts.optional(name) : std::optional(parts.required(name));
    if (part) scatter.sd[static_cast<std::size_t>(told++)] = part->number(0.0, 10.0);
  }
  parts.finish();
  scatter.covariance.topLeftCorner(told, told) = read_covariance(fields.required("scatter_covariance"), told);
  return scatter;
}

void check_usable(const YamlValue& root, const Prior& prior) {
  if (!(symmetric_eigen(relative_covariance(prior)).values.minCoeff() > 0.0))
    root.reject("the coefficients would be known without error", "some scatter, or a mean_covariance");
}

bool same_coefficient(const PriorCoefficient& a, const PriorCoefficient& b) {
  return a.rpm == b.rpm && alike(a.sensor, b.sensor) && alike(a.plane, b.plane);
}

Prior read_prior_root(const YamlValue& root, const Rotor* rotor) {
  YamlFields fields(root, "a prior");
  (void)fields.required("trimwright");
  Prior prior;
  prior.rotor = fields.required("rotor").label();
  prior.jobs = fields.required("jobs").whole_number(fewest_fleet_jobs, 1000000);
  (void)fields.required("phase").choice<bool>({{"lead", true}});
  prior.scatter = read_scatter(fields);
  if (const auto left = fields.optional("left")) {
    YamlFields parts(*left, "{size: ..., degrees_of_freedom: ...}");
    prior.left = LeftByFleet{parts.required("size").number(1e-6, 10.0),
                             parts.required("degrees_of_freedom").number(1.0, 1e6)};
    parts.finish();
  }
  if (const auto left_out = fields.optional("left_out"))
    for (const auto& one : left_out->list("a list of {job: ..., why: ...}")) {
      YamlFields parts(one, "{job: ..., why: ...}");
      prior.left_out.push_back({parts.required("job").label(), parts.required("why").label()});
      parts.finish();
    }
  const auto coefficients = fields.required("coefficients");
  for (const auto& one : coefficients.list("a list of coefficients")) {
    auto coefficient = read_coefficient(one, rotor);
    if (coefficient.jobs == 0) coefficient.jobs = prior.jobs;  // as many as the prior
    for (const auto& other : prior.coefficients)
      if (same_coefficient(other, coefficient))
        one.reject("this coefficient stands here twice", "each speed, sensor and plane once");
    prior.coefficients.push_back(coefficient);
  }
  if (prior.coefficients.empty()) coefficients.reject("there is no coefficient", "at least one");
  if (prior.coefficients.size() > most_prior_coefficients)
    coefficients.reject(fmt::format("{} coefficients stand here", prior.coefficients.size()),
                        fmt::format("at most {}", most_prior_coefficients));
  prior.mean_covariance =
      read_covariance(fields.required("mean_covariance"), 2 * static_cast<Index>(prior.coefficients.size()));
  fields.finish();
  check_usable(root, prior);
  return prior;
}

std::string triangle(const MatrixXd& matrix) {
  std::string text;
  for (Index i = 0; i < matrix.rows(); ++i) {
    text += "  - [";
    for (Index j = 0; j <= i; ++j) text += fmt::format("{}{}", j ? ", " : "", matrix(i, j));
    text += "]\n";
  }
  return text;
}

}  // namespace

Result<Prior> parse_prior(const std::string& file, const std::string& text, const Rotor* rotor) {
  try {
    return read_prior_root(parse_yaml(file, text, "prior"), rotor);
  } catch (const InputError& input) {
    return tl::unexpected(input.error);
  }
}

Result<Prior> read_prior(const std::string& path, const Rotor* rotor) {
  const auto text = read_text_file(path);
  if (!text) return tl::unexpected(text.error());
  return parse_prior(path, *text, rotor);
}

std::string prior_text(const Prior& prior) {
  std::string text =
      "trimwright: prior 1\n"
      "# Influence coefficients of a rotor type, pooled from earlier jobs: docs/certainty.md.\n"
      "# Amplitudes: peak per g mm. Scatter: one standard deviation between rotors, of relative amplitude\n"
      "# and of phase in radians, common to a plane and of each coefficient's own; and of critical speeds.\n";
  text += fmt::format("rotor: {}\njobs: {}\nphase: lead\nscatter:\n", yaml_quoted(prior.rotor), prior.jobs);
  for (std::size_t q = 0; q < prior.scatter.sd.size(); ++q)
    text += fmt::format("  {}: {}\n", scatter_names()[q], prior.scatter.sd[q]);
  text +=
      "scatter_covariance:  # of the squares of these, lower triangle\n" + triangle(prior.scatter.covariance);
  if (prior.left)
    text += fmt::format(
        "left: {{size: {}, degrees_of_freedom: {}}}  # what no weight explains, over the limits, per real "
        "component\n",
        prior.left->size, prior.left->degrees_of_freedom);
  if (!prior.left_out.empty()) text += "left_out:\n";
  for (const auto& one : prior.left_out)
    text += fmt::format("  - {{job: {}, why: {}}}\n", yaml_quoted(one.name), yaml_quoted(one.why));
  text += "coefficients:\n";
  for (const auto& one : prior.coefficients)
    text += fmt::format(
        "  - {{speed: {} rpm, sensor: {}, plane: {}, unit: {}, amplitude: {}, phase: {} deg, jobs: {}}}\n",
        one.rpm, yaml_quoted(one.sensor), yaml_quoted(one.plane), yaml_quoted(one.unit), std::abs(one.mean),
        shown_phase_deg(one.mean, PhaseConvention::lead), one.jobs);
  text += "mean_covariance:  # of these, relative amplitude and phase of each in turn, lower triangle\n";
  return text + triangle(prior.mean_covariance);
}

}  // namespace trimwright
