#include "level_bars.hpp"

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "text_table.hpp"

namespace trimwright {
namespace {

constexpr std::size_t limit_column = 40;
constexpr std::size_t last_column = 48;

std::size_t column(double ratio) {
  const double at =
      std::clamp(ratio * static_cast<double>(limit_column), 0.0, static_cast<double>(last_column));
  return static_cast<std::size_t>(std::lround(at));
}

std::string bar(const Prediction& prediction) {
  std::string line(last_column + 1, ' ');
  const auto mark = [&](double amplitude, char sign) {
    const std::size_t at = column(amplitude / prediction.limit);
    line[at] = at == last_column ? '>' : sign;
  };
  const std::size_t expected = column(std::abs(prediction.after) / prediction.limit);
  std::fill_n(line.begin(), expected, '#');
  line[limit_column] = ']';
  if (prediction.target) mark(*prediction.target, '|');
  mark(std::abs(prediction.before), 'o');
  mark(std::abs(prediction.after), '#');
  return line;
}

}  // namespace

std::string level_bars(const Job& job, const std::vector<Prediction>& predictions, std::size_t width) {
  TextTable table({{"speed", TextTable::Align::left},
                   {"sensor", TextTable::Align::left},
                   {"0 to the limit and a fifth more", TextTable::Align::drawn}});
  for (const auto& p : predictions)
    table.add({speed_words(job, p.speed), job.rotor.sensors[p.sensor].name, bar(p)});
  return table.text(width);
}

}  // namespace trimwright
