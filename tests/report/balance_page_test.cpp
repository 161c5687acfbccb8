#include "trimwright/report/balance_page.hpp"
#include "project_folder.hpp"

#include <doctest/doctest.h>

#include "trimwright/io/page_document.hpp"
#include "trimwright/io/read_job.hpp"

using namespace trimwright;

namespace {

std::string page_of(const JobFile& file) {
  const auto settled = settle_and_fit(file.job, file.request.planes);
  REQUIRE(settled);
  const auto trim = plan_trim(settled->job, settled->model, file.request);
  REQUIRE(trim);
  const auto plan = plan_steps(settled->job, settled->model, *trim);
  return balance_page(settled->job, settled->model, *trim, plan,
                      page_json(settled->job, settled->model, *trim));
}

JobFile example() { return *read_job(trimwright::testing::in_project("examples/quillhaven/job.yaml")); }

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t n = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size())) ++n;
  return n;
}

}  // namespace

TEST_CASE("The page of the example is one file below 500 kB that fetches nothing") {
  const auto page = page_of(example());
  CHECK(page.size() < 500'000);
  CHECK(page.find("default-src &#39;none&#39;") != std::string::npos);
  for (const char* fetched : {"<link", "<img", "<iframe", " src=", "@import", "url("})
    CHECK_MESSAGE(count(page, fetched) == 0, fetched);
  CHECK(count(page, "http:") + count(page, "https:") == 0);
}

TEST_CASE("The page says what the plan says, with its cautions and lines to sign, and lines for the record") {
  const auto page = page_of(example());
  for (const char* words :
       {"spinner slot 40, 13.0° with rotation, between blades 28 and 29", "A running engine can kill",
        "Record number", "Digest", "Released by (licensed)", "seen from the front", "NOT PREDICTED"})
    CHECK_MESSAGE(page.find(words) != std::string::npos, words);
  for (const auto& caution : cautions()) CHECK(page.find(caution.substr(0, 40)) != std::string::npos);
}

TEST_CASE("Names, notes and serials cannot break out of the page") {
  const auto plain = page_of(example());
  // OWASP XSS Filter Evasion Cheat Sheet and "Big List of Naughty Strings", chosen from memory.
  for (const std::string evil :
       {"<script>alert(1)</script>", "</script><script>alert(1)</script>", "\"><img src=x onerror=alert(1)>",
        "'><svg onload=alert(1)>", "<!--", "]]>", "&lt;script&gt;", "</title></style>"}) {
    JobFile file = example();
    file.job.serial = file.job.title = file.job.station = file.job.rotor.name = evil;
    file.job.rotor.reference.mark = evil;
    for (auto& plane : file.job.rotor.planes) plane.name += evil;
    for (auto& sensor : file.job.rotor.sensors) sensor.name += sensor.mounting = evil;
    for (auto& run : file.job.runs) {
      run.name += evil;
      run.conditions.other.emplace_back(evil, evil);
      if (run.set_aside) *run.set_aside += evil;
    }
    const auto page = page_of(file);
    for (const char* opening :
         {"<script", "</script", "<img", "<svg", "<!--", "</title", "</style", "<style"})
      CHECK_MESSAGE(count(page, opening) == count(plain, opening), opening << " in a page of " << evil);
  }
}

TEST_CASE("Weights are marked by their ids when these are short, else by letters") {
  Plane plane;
  for (const char* id : {"K2", "K3"}) plane.weights.emplace_back().id = id;
  CHECK(weight_marks(plane) == std::vector<std::string>{"K2", "K3"});
  for (int i = 0; i < 26; ++i) plane.weights.emplace_back().id = "long-" + std::to_string(i);
  CHECK(weight_marks(plane).front() == "A");
  CHECK(weight_marks(plane)[25] == "Z");
  CHECK(weight_marks(plane)[26] == "AA");
}
