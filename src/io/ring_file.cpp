#include "ring_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/text.hpp"
#include "reference/ring_picture.hpp"
#include "trimwright/files.hpp"
#include "yaml_fields.hpp"
#include "yaml_text.hpp"

namespace trimwright {
namespace {

constexpr double most_factor = 100.0;  ///< of a size or width, either way

std::string number_or_none(double value, const char* format) {
  return std::isfinite(value) ? fmt::format(fmt::runtime(format), value) : "none";
}

/// A factor such as a size, as its logarithm; "none" where no pulse came.
double read_log(YamlFields& fields, const char* key) {
  const YamlValue value = fields.required(key);
  if (value.text() == "none") return std::numeric_limits<double>::quiet_NaN();
  return std::log(value.number(1.0 / most_factor, most_factor));
}

struct ReadTooth {
  double size, before, after, width, spacing, pulses;
};

ReadTooth read_tooth(const YamlValue& value) {
  YamlFields fields(value, "{size, before, after, width, spacing, pulses}");
  ReadTooth tooth{};
  tooth.size = read_log(fields, "size");
  tooth.before = read_log(fields, "before");
  tooth.after = read_log(fields, "after");
  tooth.width = read_log(fields, "width");
  const YamlValue spacing = fields.required("spacing");
  tooth.spacing =
      spacing.text() == "none" ? std::numeric_limits<double>::quiet_NaN() : spacing.number(-1.0, 1.0);
  tooth.pulses = fields.required("pulses").number(0.0, 1e12);
  fields.finish();
  return tooth;
}

RingPicture read_teeth(const YamlValue& value, int teeth) {
  const auto list = value.list("one entry per tooth");
  if (static_cast<int>(list.size()) != teeth)
    value.reject(fmt::format("{} teeth are listed", list.size()), fmt::format("the rotor's {} teeth", teeth));
  RingPicture picture;
  for (auto member : {&RingPicture::size, &RingPicture::before, &RingPicture::after, &RingPicture::width,
                      &RingPicture::spacing, &RingPicture::pulses, &RingPicture::uneven})
    (picture.*member).setZero(teeth);
  for (int i = 0; i < teeth; ++i) {
    const ReadTooth tooth = read_tooth(list[static_cast<std::size_t>(i)]);
    picture.size[i] = tooth.size;
    picture.before[i] = tooth.before;
    picture.after[i] = tooth.after;
    picture.width[i] = tooth.width;
    picture.spacing[i] = tooth.spacing;
    picture.pulses[i] = tooth.pulses;
  }
  return picture;
}

KnownRing read_fields(const YamlValue& value, const Job& job) {
  YamlFields fields(value, "a ring");
  (void)fields.required("trimwright");
  KnownRing ring;
  const YamlValue rotor = fields.required("rotor");
  ring.rotor = rotor.text();
  if (ring.rotor != job.rotor.name)
    rotor.reject("the ring is of rotor \"" + shortened(ring.rotor) + "\"",
                 "\"" + job.rotor.name + "\", the job's");
  const YamlValue serial = fields.required("serial");
  ring.serial = serial.text();
  if (!ring.serial.empty() && !job.serial.empty() && ring.serial != job.serial)
    serial.reject("the ring is of serial \"" + shortened(ring.serial) + "\"",
                  "\"" + job.serial + "\", the job's");
  ring.from = fields.required("from").text();
  ring.falling = fields.required("polarity").choice<bool>({{"falling", true}, {"rising", false}});
  ring.speed_rpm = fields.required("rpm").number(0.0, 1e6);
  ring.swing = fields.required("signal").number(0.0, 1e12);
  ring.lowest_swing = fields.required("lowest_signal").number(0.0, 1e12);
  ring.highest_swing = fields.required("highest_signal").number(0.0, 1e12);
  const double revolutions = fields.required("revolutions").number(1.0, 1e12);
  YamlFields scatter(fields.required("scatter"), "{size, width, spacing} of a single pulse");
  const double size = scatter.required("size").number(0.0, most_factor);
  const double width = scatter.required("width").number(0.0, most_factor);
  const double spacing = scatter.required("spacing").number(0.0, 1.0);
  scatter.finish();
  ring.picture = read_teeth(fields.required("teeth"), job.rotor.reference.teeth);
  ring.picture.revolutions = revolutions;
  ring.picture.size_scatter = size;
  ring.picture.width_scatter = width;
  ring.picture.spacing_scatter = spacing;
  fields.finish();
  return ring;
}

}  // namespace

Result<KnownRing> known_ring(const Recording& recording, const Job& job) {
  const ReferenceHealth& health = recording.extraction.health;
  if (recording.extraction.sweep.empty() &&
      std::ranges::none_of(recording.extraction.dwells,
                           [](const auto& dwell) { return dwell.phase_trusted; }))
    return fail("nothing could be read of this recording with phase: no ring file",
                "a recording with a dwell or a run-up whose phase is trusted", {recording.file, 0, {}});
  if (health.reference.verdict != ReferenceVerdict::trusted || health.trusted_blocks == 0 ||
      health.ring.teeth() < 2)
    return fail(
        "the reference of this recording is not trusted, or the ring has one tooth only: no ring file",
        "a recording whose phase is trusted", {recording.file, 0, {}});
  KnownRing ring{job.rotor.name, job.serial,   recording.file,      job.rotor.reference.falling, 0.0,
                 health.ring,    health.swing, health.lowest_swing, health.highest_swing};
  for (const DwellReading& dwell : recording.extraction.dwells)
    ring.speed_rpm = std::max(ring.speed_rpm, dwell.speed_rpm);
  return ring;
}

std::string ring_yaml(const KnownRing& ring) {
  RingPicture seen = ring.picture;
  for (auto member : {&RingPicture::size, &RingPicture::width})
    if (Eigen::ArrayXd& logs = seen.*member; std::isfinite(logs[0]))
      logs += without_run_out(logs)[0] - logs[0];
  std::string text = fmt::format(
      "trimwright: ring 1\nrotor: {}\nserial: {}\nfrom: {}\npolarity: {}\nrpm: {:.1f}\n"
      "signal: {:.6g}          # mean flux swing of a tooth [V s]\nlowest_signal: {:.6g}\nhighest_signal: "
      "{:.6g}\n"
      "revolutions: {:.0f}\nscatter: {{size: {:.3g}, width: {:.3g}, spacing: {:.3g}}}   # sd of a single "
      "pulse\n"
      "# the reference tooth first, then in order of passing; size and width over the others', as run-out "
      "has "
      "those at the\n# reference tooth, whose own are larger_size and larger_width; spacing in pitches\n"
      "teeth:\n",
      yaml_quoted(ring.rotor), yaml_quoted(ring.serial), yaml_quoted(ring.from),
      ring.falling ? "falling" : "rising", ring.speed_rpm, ring.swing, ring.lowest_swing, ring.highest_swing,
      seen.revolutions, seen.size_scatter, seen.width_scatter, seen.spacing_scatter);
  for (Eigen::Index i = 0; i < seen.size.size(); ++i)
    text += fmt::format(
        "  - {{size: {}, before: {}, after: {}, width: {}, spacing: {}, pulses: {:.0f}}}\n",
        number_or_none(std::exp(seen.size[i]), "{:.5f}"), number_or_none(std::exp(seen.before[i]), "{:.5f}"),
        number_or_none(std::exp(seen.after[i]), "{:.5f}"), number_or_none(std::exp(seen.width[i]), "{:.5f}"),
        number_or_none(seen.spacing[i], "{:.6f}"), seen.pulses[i]);
  return text;
}

Result<KnownRing> read_ring(const std::string& file, const Job& job) {
  const auto text = read_text_file(file);
  if (!text) return tl::unexpected(text.error());
  try {
    return read_fields(parse_yaml(file, *text, "ring"), job);
  } catch (const InputError& wrong) {
    return tl::unexpected(wrong.error);
  }
}

}  // namespace trimwright
