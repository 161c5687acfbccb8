#include "archive_state.hpp"

namespace trimwright {
namespace {

/// Takes records of one archive into another, in order.
class Sending {
 public:
  explicit Sending(Database& database) : filing_(database) {}

  Sent take(const StoredRecord& one) {
    Sent sent = decide(one);
    if (sent.fate != Sent::Fate::corrected_twice) there_[one.number] = sent.there;
    return sent;
  }

 private:
  Sent decide(const StoredRecord& one) {
    Record record = one.record;
    record.origin = one.digest;
    if (const auto sent = filing_.sent_as(one.digest)) return {one.number, Sent::Fate::there_already, *sent};
    if (record.corrects) {
      const auto corrected = there_.find(*record.corrects);
      if (corrected == there_.end()) return {one.number, Sent::Fate::corrected_twice, 0};
      record.corrects = corrected->second;
      if (const auto by = filing_.correction_of(*record.corrects))
        return {one.number, Sent::Fate::corrected_twice, *by};
    }
    if (const auto same = filing_.same_as(record)) return {one.number, Sent::Fate::there_already, *same};
    return {one.number, Sent::Fate::added, filing_.append(record).number};
  }

  Filing filing_;
  std::map<std::int64_t, std::int64_t>
      there_;  ///< numbers of the records here, by their numbers in the other
};

std::set<std::string> all_stations(Database& database) {
  std::set<std::string> stations;
  const auto all = database.prepare("SELECT DISTINCT station FROM record");
  while (all->step()) stations.insert(all->text(0));
  return stations;
}

}  // namespace

Result<std::vector<Sent>> Archive::take_over(const Archive& local) {
  return caught([&]() -> Result<std::vector<Sent>> {
    Database& database = *state_->database;
    if (database.version() < 2)
      database.refuse("this archive was made by an older trimwright and keeps nothing that is sent",
                      "a new archive, to which this one is sent as well");
    Transaction transaction(database, all_stations(*local.state_->database));
    Sending sending(database);
    std::vector<Sent> fates;
    std::int64_t number = 0;
    Digest last{};
    const auto all = local.each({}, [&](StoredRecord& one) -> Result<void> {
      if (!one.holds || one.number != ++number || one.previous != std::exchange(last, one.digest))
        return fail("record " + std::to_string(one.number) + " is not as it was filed: nothing was sent",
                    "a backup of it (trimwright record prove tells what is changed)",
                    {local.state_->database->name(), 0, {}});
      fates.push_back(sending.take(one));
      return {};
    });
    if (!all) return tl::unexpected(all.error());
    transaction.commit();
    return fates;
  });
}

}  // namespace trimwright
