#include <doctest/doctest.h>

#include <sstream>
#include <string>

#include "job_builder.hpp"
#include "project_folder.hpp"
#include "trimwright/files.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/report.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// The text of a trial run of w3 in slot 3, its lines joined.
std::string trial_words(const Job& job) {
  const auto advice = advise_trial(job, {}, {0, 3, "w3"});
  REQUIRE(advice);
  std::istringstream words(trial_text(job, *advice, trial_steps(job, advice->advised().change)));
  std::string text;
  for (std::string word; words >> word;) text += word + " ";
  return text;
}

bool says(const std::string& text, const std::string& words) { return text.find(words) != std::string::npos; }

}  // namespace

TEST_CASE("A trial plan's step on stopping names the column of its table") {
  const std::string text = trial_words(slotted_job({100.0, 500.0, 2000.0}));
  CHECK(says(text, "expected stop above unit"));
  CHECK(says(text, "passes its level in the table (stop above)"));
  CHECK_FALSE(says(text, "limit in the table"));
}

TEST_CASE("A trial plan says what its question marks mean") {
  Job job = slotted_job({100.0, 500.0, 2000.0});
  CHECK(says(trial_words(job), "uncertainty left, above a limit, targets met after: ?, as"));
  CHECK_FALSE(says(trial_words(job), "no mass"));
  job.rotor.mass_kg.reset();
  CHECK(says(trial_words(job), "of rotor's weight: ?, as the rotor file gives no mass."));
}

TEST_CASE("The runs to be expected are told in words, one run as one") {
  const auto file = read_job(trimwright::testing::in_project("examples/quillhaven/job.yaml"));
  REQUIRE(file);
  const auto settled = settle_and_fit(file->job, file->request.planes);
  REQUIRE(settled);
  const auto trim = plan_trim(settled->job, settled->model, file->request);
  REQUIRE(trim);
  const auto advice = advise_trial(settled->job, {&settled->model, &*trim, {}}, {});
  REQUIRE(advice);
  CHECK(advice->at_once->expected_runs == doctest::Approx(1.0).epsilon(0.04));
  CHECK(says(advice->reason, "that takes one run on average, and 2 runs with a trial run before it"));
}
